"""Temperature of the hall that the presses stand in."""

import math
from datetime import datetime

HALL_C = 23.0
SWING_K = 2.5  # day against night


def hall_c(moment: datetime) -> float:
    """Temperature at a moment: warmest at three in the afternoon."""
    hour = moment.hour + moment.minute / 60
    return HALL_C + SWING_K * math.sin(2 * math.pi * (hour - 9) / 24)
