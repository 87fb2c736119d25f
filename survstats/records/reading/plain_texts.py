"""How are numbers, dates and times of typed files written as texts?"""

from __future__ import annotations

import datetime
import math
from typing import Any

import numpy as np


def number_text(value: float | np.floating[Any]) -> str:
    """The shortest decimal text that reads back as this number; whole numbers without a point, ``inf`` as such."""
    if not math.isfinite(value):
        return str(float(value))
    return np.format_float_positional(value + 0.0, trim="-")  # + 0.0: no minus before nought


def date_text(value: datetime.datetime) -> str:
    """``YYYY-MM-DD`` for midnight, else ``YYYY-MM-DD HH:MM:SS`` with the zone where there is one."""
    if value.time() == datetime.time.min and value.tzinfo is None:
        return value.date().isoformat()
    return value.isoformat(sep=" ")


def time_text(value: datetime.time) -> str:
    """``HH:MM``, with seconds (and parts of them) where there are any."""
    return (
        value.isoformat(timespec="minutes") if not (value.second or value.microsecond) else value.isoformat()
    )
