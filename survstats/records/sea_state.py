"""Which sea state is a wave height?"""

from __future__ import annotations

#: Upper bounds of wave height in m, codes 0 to 8 of WMO code table 3700; the bound belongs to the lower code.
WAVE_BOUNDS_M = (0.0, 0.1, 0.5, 1.25, 2.5, 4.0, 6.0, 9.0, 14.0)
