"""Which shot does each gauging of an ordered list belong to? The sources stand in the modules."""

from rules.alignment.offset import OffsetProposal, propose_offset
from rules.alignment.order import Alignment, align

__all__ = ["Alignment", "OffsetProposal", "align", "propose_offset"]
