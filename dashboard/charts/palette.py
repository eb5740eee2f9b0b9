"""Colors of the charts: grays for what is normal, yellow for a signal, blue where a person must act.

Each gray keeps a contrast of 3 to 1 or more on the light and on the dark page (WCAG 2.2, 1.4.11), so one
chart serves both and the printed audit.
"""

from __future__ import annotations

DOT = "#737a85"
LINE = "#737a85"
CENTER = "#9aa1ab"
SIGNAL = "#f6b800"
EDGE = "#1b1e23"
ACT = "#2b78cc"  # lighter than the blue of words: it must show on a dark page too
