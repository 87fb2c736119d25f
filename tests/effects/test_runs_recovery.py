"""Does the half-life of trainer runs lie in its interval, as often as is said, in schools made with a known one?"""

from __future__ import annotations

import numpy as np
import pytest
from pool_school import school

from survstats.effects.run_rows import run_rows
from survstats.effects.runs_fading import runs_fading
from survstats.effects.trainer_runs import runs_model

SEED = 26061106  # announced before the first run
SCHOOLS, PEOPLE = 200, 1200
TRUE_MONTHS, TRUE_GAIN = 24.0, 0.3


def half_lives(schools: int) -> dict[str, int]:
    """In how many schools a half-life is told, and the truth held by its interval and by those of gain and loss.

    Two runs each of `PEOPLE` people, spread between people .35 on log time. A school whose runs tell no half-life holds
    it not.
    """
    found = dict.fromkeys(("told", "held", "gain", "lost"), 0)
    for at in range(schools):
        one = runs_fading(run_rows(school(PEOPLE, f"recovery/{at}", seed=SEED).query("run_no <= 2")))
        first, ratio = one.curve[0]
        found["gain"] += ratio.low <= np.exp(-TRUE_GAIN * 2 ** (-first / TRUE_MONTHS)) <= ratio.high
        late = dict(one.lost)[24.0]
        found["lost"] += late.low <= np.exp(TRUE_GAIN * (2 ** (-first / TRUE_MONTHS) - 0.5)) <= late.high
        if one.half_life_months is not None:
            found["told"] += 1
            found["held"] += one.half_life_months.low <= TRUE_MONTHS <= one.half_life_months.high
    return found


@pytest.mark.slow
def test_the_half_life_lies_in_its_interval_in_nine_schools_of_ten():
    """The first 50 of the 200 announced schools; run as a script this file counts all (told 190, held 185).

    With 400 people half of the schools tell none, and of those that do 98 % hold the truth.
    """
    found = half_lives(SCHOOLS // 4)
    assert min(found["held"], found["gain"], found["lost"]) >= 0.9 * SCHOOLS // 4, found


@pytest.mark.slow
def test_time_ratios_of_exercises_are_those_the_schools_were_made_with():
    """Sixty schools of 100 people: bias at most three simulation errors, or .01; intervals hold the truth."""
    truth = {"inverted": 0.35, "night": 0.2, "push_out": 0.2, "yes": 0.3, "doubled": -0.15 * np.log(2)}
    logs, held = {name: [] for name in truth}, dict.fromkeys(truth, 0)
    for at in range(60):
        for one in runs_model(run_rows(school(100, f"ratios/{at}", seed=SEED))).levels:
            if one.level in truth and one.term != "breathing_set_used" and one.ratio is not None:
                logs[one.level].append(np.log(one.ratio.value))
                held[one.level] += one.ratio.low <= np.exp(truth[one.level]) <= one.ratio.high
    for name, true in truth.items():
        found = np.array(logs[name])
        assert abs(found.mean() - true) < max(0.01, 3 * found.std() / np.sqrt(len(found))), name
        assert held[name] >= 0.85 * len(found), name


if __name__ == "__main__":
    print(half_lives(SCHOOLS), "of", SCHOOLS)
