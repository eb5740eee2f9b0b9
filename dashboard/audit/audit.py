"""One audit: evidence, what follows from it, and the words for it; as JSON of every figure."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from dashboard.audit.conclude import Conclusion, conclude
from dashboard.audit.evidence import Evidence
from dashboard.audit.findings import Findings, findings
from dashboard.audit.plain_facts import plain
from dashboard.audit.words import Clock

FORM = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """All that a document shows. `clock` writes times in the shop's zone."""

    evidence: Evidence
    found: Findings
    conclusion: Conclusion
    clock: Clock

    def to_dict(self) -> dict[str, Any]:
        """Every figure of the document.

        Places are counted from 0 in `shot_counters`; values are in canonical units.
        """
        return {
            "form": FORM,
            "run": self.evidence.run.name,
            "press": self.evidence.run.press,
            "conclusion": plain(self.conclusion),
            "findings": plain(self.found),
            "evidence": plain(self.evidence),
            "shot_counters": list(self.evidence.shot_list.counters),
            "digests": {
                "evidence": self.evidence.digest(),
                "shots": self.evidence.shots.digest,
                "journal_head": self.evidence.journal_head,
            },
        }

    def to_json(self) -> str:
        """The same as text, always in the same order."""
        text = json.dumps(self.to_dict(), indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False)
        return text + "\n"


def audit(evidence: Evidence, zone: ZoneInfo) -> Audit:
    """Work out an audit from its evidence; the same evidence gives the same audit.

    Parameters
    ----------
    evidence : Evidence
    zone : ZoneInfo
        In which times are written.
    """
    found, clock = findings(evidence), Clock(zone)
    return Audit(evidence=evidence, found=found, conclusion=conclude(evidence, found, clock), clock=clock)
