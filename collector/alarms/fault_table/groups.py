"""Faults that telemetry cannot tell apart: a press reports the same of all of a group.

The first checks tell them apart, so whoever is told one of a group is told of the others, too. Which they are
follows from the patterns of the table (common practice, no source).
"""

from __future__ import annotations

MATERIAL = "another material in the screw"
THINNER = "thinner melt at the same zone temperatures"
LOST_MELT = "melt that does not reach the mold"
COOLING = "another temperature of the mold"
FEED = "too little melt in front of the screw"
PACE = "the mold stands open or shut longer than usual"
