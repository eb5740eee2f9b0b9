"""Is a value what the press did, or what a sensor, a plug or a gateway made of it? Checked before any chart.

A value in doubt is stored and shown, but it is not charted, makes no limits and holds no disc; it signals,
shot by shot, as a matter of the data.
"""

from __future__ import annotations
