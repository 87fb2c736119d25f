"""Which invented studies come with the package, and how are they made?

``python -m survstats.records.invented DIR`` writes all of them again, byte for byte. Of `DRAWS` draws from one
announced seed each demo is the one whose main estimate is the median (of those that allow one; in the study of
separation, of those in which none of the trained people compared died); in other numbers it need not be typical. A
slow test makes the choice again. The survivor-only study is the main one, asked differently.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import CallError
from survstats.groundwork.resampling import stream
from survstats.records.demo import DEMO_NAMES, DIRTY_NAME
from survstats.records.invented.decision_text import OTHER_STUDIES, decision_text
from survstats.records.invented.dirty import write_dirty
from survstats.records.invented.fields import written_down
from survstats.records.invented.logistic_world import logistic_world
from survstats.records.invented.runs import simulate_runs
from survstats.records.invented.worlds import (
    LONGEST_SINCE_MONTHS,
    fate,
    retained,
    simulate_logistic,
    simulate_mechanistic,
)

SEED = 20261124
DRAWS = 201
CURRENCY_MONTHS = 24.0
TRUTH_MISHAPS = 200_000
_CHUNK = 20_000


WorldKind = Literal["race", "logistic"]
Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Gains = dict[str, Floats]

_COVARIATES = (
    "role",
    "operator_code",
    "aircraft_class",
    "far_seat",
    "sig_wave_height_m",
    "water_temp_c",
    "light",
)
_FEW_COVARIATES = _COVARIATES[:4]
_WHOLE = decision_text(refresher=True, value=False)
_ONE_MISSING = decision_text(refresher=False, value=False)


@dataclass(frozen=True)
class _Plan:
    title: str
    draw: str
    mishaps: int
    effect: float
    survivors_only: bool
    trainer_people: int
    world: WorldKind = "race"
    covariates: tuple[str, ...] = _COVARIATES
    after: str = ""


_PLANS = {
    "demo_small": _Plan("Vesper Shelf, few mishaps", "demo_small/28", 18, 1.0, False, 60, after=_ONE_MISSING),
    "demo_main": _Plan("Vesper Shelf", "demo_main/31", 60, 1.0, False, 120, after=_WHOLE + OTHER_STUDIES),
    "demo_null": _Plan(
        "Vesper Shelf, training without effect", "demo_null/84", 60, 0.0, False, 120, after=_WHOLE
    ),
    "demo_survivor_only": _Plan("Vesper Shelf, survivors asked", "demo_main/31", 60, 1.0, True, 120),
    "demo_harm": _Plan(
        "Vesper Shelf, training that harms", "demo_harm/74", 60, -1.0, False, 120, after=_WHOLE
    ),
    "demo_separation": _Plan(
        "Vesper Shelf, a very strong effect",
        "demo_separation/100",
        20,
        4.0,
        False,
        60,
        world="logistic",
        covariates=_FEW_COVARIATES,
        after=decision_text(refresher=True, value=True) + OTHER_STUDIES,
    ),
}

_STUDY_FILE = """\
# Invented: these people and mishaps never existed.
title = "{title}"  # names the paper: title of the PDF and of the browser tab
place = "the Vesper Shelf (invented)"  # where the mishaps happened
invented = true  # true: every page says so

[question]
currency_months = 24  # training no older than this at the mishap counts as current
smallest_worthwhile_points = 5  # the smallest gain in survival worth acting on, in percentage points

[records]
mishap = "mishap.csv"  # one row per mishap
occupant = "occupant.csv"  # one row per person aboard

# the cabin of each class: rows of seats, row 1 in front; the letters across a row, a space where the aisle is; exits by
# row and side; zones by their first and last row, every row in one
[cabin.A_twin_2c8p]
rows = 5
seats = "L R"
exits = ["1L", "1R", "4L", "4R"]
zones = {{front = [1, 1], middle = [2, 3], rear = [4, 5]}}

[cabin.B_light_1c4p]
rows = 3
seats = "L R"
exits = ["2L", "2R"]
zones = {{front = [1, 1], rear = [2, 3]}}

[cabin.C_heavy_3c16p]
rows = 10
seats = "L R"
exits = ["1L", "1R", "5L", "5R", "9L", "9R"]
zones = {{front = [1, 3], middle = [4, 7], rear = [8, 10]}}

[model]
# what is held equal between trained and untrained people
covariates = [{covariates}]
# by what the difference is also told, level by level: at most four, listed before anyone looked
modifiers = ["capsized", "far_seat", "cold_water", "role"]
cold_water_c = 15  # water below so many degrees Celsius is cold

[imputation]
draws = 20  # how often unknown training is filled in at random, 20 to 200

[challenge]
# how strong a hidden difference in fitness is thought possible: log odds of training and of life per standard deviation
fitness_floor = 0.75
sensitivity_inferred = 0.8  # how often a trained dead person without papers is written down as trained
impact_death_margin_points = 3  # a larger difference in deaths on impact, in points, raises an alarm

# how long breath lasts in this water against a warm pool, 0.5 is half as long; not shortened unless it is said here
# [breath]
# multiplier = 0.5

[paper]
prepared_by = ""  # who made the paper
reviewed_by = ""  # who read it before it was passed on
funding = ""  # who paid

[run]
seed = 20261124  # start of random draws: the same seed gives the same numbers
"""

_README = (
    "Everything in this folder is invented: no person, mishap, operator or place in it exists.\n\n"
    f"Of {DRAWS} draws from one seed this is the one whose main estimate is the median (the survivor-only study: "
    "the main study, with survivors alone asked about training). Its other numbers need not be typical.\n"
)
_README_SEPARATION = (
    "Everything in this folder is invented: no person, mishap, operator or place in it exists.\n\n"
    f"Of {DRAWS} draws from one seed, and of those in which none of the trained people compared died, this is the one "
    "whose main estimate is the median. It is here for what is done then, not for what it shows.\n"
)


def write_study(name: str, directory: Path | str) -> None:
    """Write one invented study into a folder that exists: three tables, study file, truth, a line of warning.

    Raises
    ------
    CallError
        ``unknown_demo`` where there is no study of that name.
    """
    if name not in _PLANS:
        raise CallError("unknown_demo", f"There is no invented study {name}.", f"Known: {', '.join(_PLANS)}.")
    plan, folder = _PLANS[name], Path(directory)
    mishap, occupant = draw_study(
        plan.draw,
        mishaps=plan.mishaps,
        effect=plan.effect,
        survivors_only=plan.survivors_only,
        world=plan.world,
    )
    mishap.to_csv(folder / "mishap.csv", index=False, lineterminator="\n")
    occupant.to_csv(folder / "occupant.csv", index=False, lineterminator="\n")
    runs = simulate_runs(plan.trainer_people, stream(SEED, f"{name}/training_run"))
    runs.to_csv(folder / "training_run.csv", index=False, lineterminator="\n")
    covariates = ", ".join(f'"{name}"' for name in plan.covariates)
    study_file = _STUDY_FILE.format(title=plan.title, covariates=covariates)
    (folder / "study.toml").write_bytes((study_file + plan.after).encode())
    readme = _README_SEPARATION if plan.world == "logistic" else _README
    (folder / "README.md").write_bytes(readme.encode())
    truth = simulate_truth(plan.effect, mishaps=TRUTH_MISHAPS, world=plan.world)
    (folder / "truth.json").write_bytes((json.dumps(truth, indent=2) + "\n").encode())


def draw_study(
    draw: str, *, mishaps: int, effect: float, survivors_only: bool = False, world: WorldKind = "race"
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The mishap and occupant tables of one draw (``"demo_main/0"`` to ``"demo_main/200"``), as written down."""
    rng = stream(SEED, draw)
    make = simulate_mechanistic if world == "race" else logistic_world
    return written_down(make(mishaps, rng, effect=effect), rng, survivors_only=survivors_only)


def simulate_truth(effect: float, *, mishaps: int, world: WorldKind = "race") -> dict[str, Any]:
    """The true risk difference in P1 for each way of coding training, by simulated potential outcomes.

    Everyone alive at immersion is given the training in question, then none, with the same luck. Keys of
    ``exposure``: ``any_recency`` (trained 0 to 60 months ago), ``current_24_months``, ``month_0``; in the logistic
    world training does not fade, and there is ``current_24_months`` alone. The Monte Carlo error is the standard error
    over mishaps.
    """
    rng = stream(SEED, "truth")
    gains_in: Callable[[int, np.random.Generator, float], tuple[Codes, Gains]]
    gains_in = _gains_of_the_race if world == "race" else _gains_of_the_logistic_world
    gains: dict[str, list[Floats]] = {}
    sizes = []
    for start in range(0, mishaps, _CHUNK):
        count = min(_CHUNK, mishaps - start)
        g, found = gains_in(count, rng, effect)
        sizes.append(np.bincount(g, minlength=count).astype(float))
        for code, gain in found.items():
            gains.setdefault(code, []).append(np.bincount(g, weights=gain, minlength=count).astype(float))
    size = np.concatenate(sizes)
    exposure = {}
    for code, parts in gains.items():
        gain = np.concatenate(parts)
        difference = gain.sum() / size.sum()
        error = np.sqrt(np.sum((gain - difference * size) ** 2)) / size.sum()
        exposure[code] = {"risk_difference": round(difference, 6), "monte_carlo_error": round(error, 6)}
    return {
        "population": "P1",
        "exposure": exposure,
        "mishaps_simulated": mishaps,
        "occupants_simulated": int(size.sum()),
    }


def _gains_of_the_race(mishaps: int, rng: np.random.Generator, effect: float) -> tuple[Codes, Gains]:
    """The mishap of everyone alive at immersion, and what each way of coding training gains them (n)."""
    upper = {"any_recency": LONGEST_SINCE_MONTHS, "current_24_months": CURRENCY_MONTHS, "month_0": 0.0}
    world = simulate_mechanistic(mishaps, rng, effect=effect)
    inside = ~world.occupant["impact_death"].to_numpy()
    none = fate(world, np.zeros(len(inside)))[2][inside]
    gains = {}
    for code, longest in upper.items():
        held = retained(rng.uniform(0, longest, len(inside)))
        gains[code] = fate(world, held)[2][inside].astype(float) - none
    return world.occupant["mishap"].to_numpy()[inside], gains


def _gains_of_the_logistic_world(
    mishaps: int, rng: np.random.Generator, effect: float
) -> tuple[Codes, Gains]:
    people = simulate_logistic(mishaps, rng, effect=effect)
    people = people[people["impact_death"] == 0]
    gain = (people["survived_if_trained"] - people["survived_if_untrained"]).to_numpy(float)
    return people["mishap"].to_numpy(), {"current_24_months": gain}


def main(directory: str) -> None:
    """Write every invented study below a folder, each into a folder of its name."""
    for name in DEMO_NAMES:
        folder = Path(directory) / name
        folder.mkdir(parents=True, exist_ok=True)
        write_study(name, folder)
    write_dirty(Path(directory) / DIRTY_NAME)
