"""How many months has a year, and how many of the plausible worlds do limits hold?"""

from __future__ import annotations

MONTHS_A_YEAR = 12
#: Share of the plausible values beyond each of two limits, these limits, and what lies between them.
TAIL = 0.025
LIMITS = (TAIL, 1 - TAIL)
LEVEL = 0.95
