"""An ordered list of gaugings onto shots."""

from rules.alignment.offset import OffsetProposal, propose_offset
from rules.alignment.order import Alignment, align

__all__ = ["Alignment", "OffsetProposal", "align", "propose_offset"]
