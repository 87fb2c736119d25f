"""Which invented studies come with the package, and how are they made?

``python -m survstats.records.invented DIR`` writes all of them again, byte for byte. Of `DRAWS` draws from one
announced seed each demo is the one whose main estimate is the median (of those that allow one); in other numbers it
need not be typical. A slow test makes the choice again. The survivor-only study is the main one, asked differently.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import CallError
from survstats.groundwork.resampling import stream
from survstats.records.demo import DEMO_NAMES, DIRTY_NAME
from survstats.records.invented.dirty import write_dirty
from survstats.records.invented.fields import written_down
from survstats.records.invented.runs import simulate_runs
from survstats.records.invented.worlds import (
    LONGEST_SINCE_MONTHS,
    fate,
    retained,
    simulate_mechanistic,
)

SEED = 20261124
DRAWS = 201
CURRENCY_MONTHS = 24.0
TRUTH_MISHAPS = 200_000
_CHUNK = 20_000


@dataclass(frozen=True)
class _Plan:
    title: str
    draw: str
    mishaps: int
    effect: float
    survivors_only: bool
    trainer_people: int


_PLANS = {
    "demo_small": _Plan("Vesper Shelf, few mishaps", "demo_small/28", 18, 1.0, False, 60),
    "demo_main": _Plan("Vesper Shelf", "demo_main/31", 60, 1.0, False, 120),
    "demo_null": _Plan("Vesper Shelf, training without effect", "demo_null/84", 60, 0.0, False, 120),
    "demo_survivor_only": _Plan("Vesper Shelf, survivors asked", "demo_main/31", 60, 1.0, True, 120),
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

[model]
# what is held equal between trained and untrained people
covariates = [{covariates}]
# by what the difference is also told, level by level: at most four, listed before anyone looked
modifiers = ["capsized", "far_seat", "cold_water", "role"]
cold_water_c = 15  # water below so many degrees Celsius is cold

[imputation]
draws = 20  # how often unknown training is filled in at random, 20 to 200

[paper]
prepared_by = ""  # who made the paper
reviewed_by = ""  # who read it before it was passed on
funding = ""  # who paid

[run]
seed = 20261124  # start of random draws: the same seed gives the same numbers
"""

_COVARIATES = (
    "role",
    "operator_code",
    "aircraft_class",
    "far_seat",
    "sig_wave_height_m",
    "water_temp_c",
    "light",
)
_README = (
    "Everything in this folder is invented: no person, mishap, operator or place in it exists.\n\n"
    f"Of {DRAWS} draws from one seed this is the one whose main estimate is the median (the survivor-only study: "
    "the main study, with survivors alone asked about training). Its other numbers need not be typical.\n"
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
        plan.draw, mishaps=plan.mishaps, effect=plan.effect, survivors_only=plan.survivors_only
    )
    mishap.to_csv(folder / "mishap.csv", index=False, lineterminator="\n")
    occupant.to_csv(folder / "occupant.csv", index=False, lineterminator="\n")
    runs = simulate_runs(plan.trainer_people, stream(SEED, f"{name}/training_run"))
    runs.to_csv(folder / "training_run.csv", index=False, lineterminator="\n")
    covariates = ", ".join(f'"{name}"' for name in _COVARIATES)
    study_file = _STUDY_FILE.format(title=plan.title, covariates=covariates)
    (folder / "study.toml").write_bytes(study_file.encode())
    (folder / "README.md").write_bytes(_README.encode())
    truth = simulate_truth(plan.effect, mishaps=TRUTH_MISHAPS)
    (folder / "truth.json").write_bytes((json.dumps(truth, indent=2) + "\n").encode())


def draw_study(
    draw: str, *, mishaps: int, effect: float, survivors_only: bool = False
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The mishap and occupant tables of one draw (``"demo_main/0"`` to ``"demo_main/200"``), as written down."""
    rng = stream(SEED, draw)
    world = simulate_mechanistic(mishaps, rng, effect=effect)
    return written_down(world, rng, survivors_only=survivors_only)


def simulate_truth(effect: float, *, mishaps: int) -> dict[str, Any]:
    """The true risk difference in P1 for each way of coding training, by simulated potential outcomes.

    Everyone alive at immersion is given the training in question, then none, with the same luck. Keys of
    ``exposure``: ``any_recency`` (trained 0 to 60 months ago), ``current_24_months``, ``month_0``; the Monte
    Carlo error is the standard error over mishaps.
    """
    rng = stream(SEED, "truth")
    upper = {"any_recency": LONGEST_SINCE_MONTHS, "current_24_months": CURRENCY_MONTHS, "month_0": 0.0}
    gains: dict[str, list[NDArray[np.float64]]] = {code: [] for code in upper}
    sizes = []
    for start in range(0, mishaps, _CHUNK):
        count = min(_CHUNK, mishaps - start)
        world = simulate_mechanistic(count, rng, effect=effect)
        inside = ~world.occupant["impact_death"].to_numpy()
        g = world.occupant["mishap"].to_numpy()[inside]
        sizes.append(np.bincount(g, minlength=count).astype(float))
        none = fate(world, np.zeros(len(inside)))[2][inside]
        for code, longest in upper.items():
            held = retained(rng.uniform(0, longest, len(inside)))
            gain = fate(world, held)[2][inside].astype(float) - none
            gains[code].append(np.bincount(g, weights=gain, minlength=count).astype(float))
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


def main(directory: str) -> None:
    """Write every invented study below a folder, each into a folder of its name."""
    for name in DEMO_NAMES:
        folder = Path(directory) / name
        folder.mkdir(parents=True, exist_ok=True)
        write_study(name, folder)
    write_dirty(Path(directory) / DIRTY_NAME)
