"""Which numbers of the results may leave the house, by their ids, and how finely?

A number that counts no people is shared where it is said to tell nothing of them, or where every count it rests on is
shared; some never are. Beside counts everything is rounded to what the papers print, so that no long fraction gives its
counts back.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

from survstats.study.results import Number
from survstats.study.results_builder import ResultsBuilder

#: Ids whose numbers tell nothing of people: the plan, the rule of the verdict and its gates, years, all mishaps.
OPEN_NUMBERS = re.compile(
    r"(plan|threshold|log|agreement|sharing|span|graph|change)\."
    r"|fitness\.floor(_odds)?$|impact_death\.margin$|miscoding\.sensitivity$|choices\.listed$"
    r"|(challenge|gate)\.\w+\.number$|verdict\.(assessed|gates)$"
    r"|population\.(first|last)_year$|records\.(mishaps|not_blind|blind_unknown)$"
)
OPEN_LISTS = re.compile(
    r"(plan|graph|modifiers|notices)\.|gaps\.needed$"
    r"|records\.(warnings|accepted|banners)$|population\.(classes|roles)$"
)
#: The analyst's tables and counts stay here whole: they cut the same people finer than anything that is shared.
IN_HOUSE = re.compile(
    r"(flow|crude_shares|recency|fading_months|modifiers|calibration|influence|era_positivity|empty_cells)/"
    r"|(egress_people|egress_at|cabin_zones|cabin_classes|position)/"
    r"|(recency|fading|imputed|pairs|overlap|tipping|miscoding|cabin|position|race|split)\."
)
#: Numbers that rest on who is unknown, undocumented or in a harmless mishap, and on what single choices find.
STAYS = re.compile(r"(tipping|miscoding|under_reporting)\.|choices\.(smallest|largest)$|effect\.rd_imputed$")
_ONE_MISHAP = re.compile(r"adequacy\.largest_leverage$|fading\.")


def is_open(out: ResultsBuilder, name: str, closed: frozenset[str]) -> bool:
    """Whether a number that is no count of people may be shared."""
    if _ONE_MISHAP.match(name) or (STAYS.match(name) and not OPEN_NUMBERS.match(name)):
        return False
    return bool(OPEN_NUMBERS.match(name)) or (name in out.rests_on and not closed & set(out.rests_on[name]))


def rounded(number: Number, *, counted: bool) -> Number:
    """A number as the papers print it; its people and mishaps only where they are known to be shared elsewhere."""
    if number.unit == "count" or number.method in ("study_file", "rule"):
        return number
    value, low, high = (
        None if part is None else printed(part, number.unit)
        for part in (number.value, number.low, number.high)
    )
    return replace(
        number,
        value=math.nan if value is None else value,
        low=low,
        high=high,
        df=None,
        mishaps=number.mishaps if counted else None,
        occupants=number.occupants if counted else None,
    )


def printed(value: float, unit: str) -> float:
    """A value rounded as the papers print it: shares and differences to whole per cent, ratios to two digits.

    A difference under half a point keeps a decimal and stays under it (the pages print .0049 as half a point, and .005
    as a whole one), and a share that is not quite 0 or 1 does not become that.
    """
    if not math.isfinite(value):
        return value
    if unit in ("share", "risk", "difference"):
        whole = math.copysign(math.floor(100 * abs(value) + 0.5) / 100, value)
        if unit == "difference":
            return math.copysign(min(round(abs(value), 3), 0.0049), value) if abs(value) < 0.005 else whole
        return min(max(whole, 0.004), 0.996) if 0 < value < 1 and whole in (0, 1) else whole
    return float(f"{value:.0f}") if unit in ("df", "year") or abs(value) >= 99 else float(f"{value:.2g}")
