"""How often would the verdict have said which word, had studies like these been brought to it?

Every run draws a world whose truth is known, writes its records down, and has them judged by the same function that
judges a study. Rules on whole studies and on single rows (`survstats check`) are not rehearsed: these records break
none.

Seeds were announced before any run was looked at: thresholds may be chosen on ``tuning`` seeds only, the committed
table is from ``fresh`` ones. A run is named by its scenario, its number of mishaps and its place, so that it gives the
same study whatever runs before or beside it.
"""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Callable, Hashable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd

from survstats.challenge.choice_list import CHOICES_FILE
from survstats.challenge.verdict import GATES, THRESHOLDS_FILE
from survstats.groundwork.errors import CallError
from survstats.groundwork.provenance import bytes_hash, file_hash
from survstats.groundwork.resampling import stream
from survstats.groundwork.whole_file import check_place
from survstats.records.cohort import Cohort
from survstats.rehearsal.scenarios import SCENARIOS, Cell
from survstats.rehearsal.worlds import simulate_records
from survstats.study.everybody import Everybody, everybody
from survstats.study.judge import judge
from survstats.study.plan import Study, parse_plan
from survstats.study.results_builder import ResultsBuilder

Seeds = Literal["tuning", "fresh"]
BASE_SEED: dict[Seeds, int] = {"tuning": 20261126, "fresh": 20261127}

STUDY_FILE = """\
title = "A rehearsal"
invented = true

[question]
currency_months = 24
smallest_worthwhile_points = 5

[model]
covariates = ["role", "operator_code", "aircraft_class", "far_seat", "sig_wave_height_m", "water_temp_c"]

[imputation]
draws = 20

[run]
seed = {seed}
"""

#: What is counted over the runs of a cell, in the order of the table's columns.
COUNTED = (
    "supports_benefit",
    "suggests_benefit",
    "supports_harm",
    "suggests_harm",
    "supports_no_worthwhile_difference",
    "cannot_tell",
    "more_than_chance",
    "close",
    "as_far_as_seen",
    "in_part",
    "fitness_told",
    "estimated",
    *(f"{gate}_{state}" for gate in GATES for state in ("met", "partly_met")),
)
#: Columns that hold a word or a hash.
TEXTS = ("seeds", "thresholds", "choices", "setting")
#: What names a line of the table.
NAMED = ("scenario", "mishaps", "seeds", "base_seed", "runs", "thresholds", "choices", "setting")


@dataclass(frozen=True)
class Told:
    """What the verdict said of one study: the names in `COUNTED` that hold, and the difference where there is one."""

    holds: frozenset[str]
    difference: float | None


def setting_hash() -> str:
    """SHA-256 of what every run is made from: the study file, and the scenarios with all their values."""
    setting = [STUDY_FILE, [asdict(scenario) for scenario in SCENARIOS]]
    return bytes_hash(json.dumps(setting, sort_keys=True).encode())


def judged(cell: Cell, seeds: Seeds, run: int) -> ResultsBuilder:
    """One study of a cell, drawn and judged."""
    rng = stream(BASE_SEED[seeds], f"{cell.name}/{run}")
    records = simulate_records(cell.scenario, cell.mishaps, rng)
    raw = STUDY_FILE.format(seed=run).encode()
    study = Study(folder=Path(), plan=parse_plan(raw), plan_hash=bytes_hash(raw))
    out = ResultsBuilder()
    judge(out, study, _without_empty_fields(everybody(study, records)), banners=(), whole=False)
    return out


def tell(cell: Cell, seeds: Seeds, run: int) -> Told:
    """What the verdict says of one study of a cell."""
    return told_by(judged(cell, seeds, run))


def _without_empty_fields(people: Everybody) -> Everybody:
    """The same people without the fields that these records never hold: no number asks for them, and it is faster.

    Only the order in which unknown training is drawn may differ from that of a study with empty columns.
    """
    kept = [name for name in people.derived.columns if people.derived[name].notna().any()]

    def narrow(cohort: Cohort) -> Cohort:
        return replace(cohort, frame=cohort.frame[kept], analysed=cohort.analysed[kept])

    return replace(
        people,
        derived=people.derived[kept],
        primary=narrow(people.primary),
        passengers=narrow(people.passengers),
        everyone=narrow(people.everyone),
    )


def told_by(out: ResultsBuilder) -> Told:
    """What a judged study's codes amount to."""
    word, direction = out.codes["verdict.word"], out.codes["verdict.direction"]
    said = word if word == "cannot_tell" else f"{word}_{direction}"
    holds = {said, out.codes["verdict.chance"], out.codes["verdict.reading"]}
    holds |= {f"{row[0]}_{row[1]}" for row in out.tables["gates"].rows}
    if "fitness.strength_limit" in out.numbers:
        holds.add("fitness_told")
    main = out.numbers.get("effect.rd")
    if main is not None:
        holds.add("estimated")
    return Told(frozenset(holds & set(COUNTED)), None if main is None else main.value)


def rehearse(
    cell: Cell, runs: int, *, seeds: Seeds = "fresh", mapped: Callable[..., Iterator[Told]] = map
) -> dict[str, str | int | float]:
    """One line of the table: how many of so many runs said what.

    Parameters
    ----------
    cell : Cell
    runs : int
    seeds : {"fresh", "tuning"}, optional
    mapped : callable, optional
        As ``map``; that of a pool of processes gives the same line.
    """
    found = list(mapped(partial(tell, cell, seeds), range(runs)))
    differences = [told.difference for told in found if told.difference is not None]
    return {
        "scenario": cell.scenario.name,
        "mishaps": cell.mishaps,
        **_terms(runs, seeds),
        **{name: sum(name in told.holds for told in found) for name in COUNTED},
        "mean_difference": round(float(np.mean(differences)), 4) if differences else "",
    }


def rehearse_all(
    cells: tuple[Cell, ...],
    path: Path,
    *,
    runs: int,
    seeds: Seeds = "fresh",
    processes: int = 1,
    progress: Callable[[str], None] = lambda _name: None,
) -> None:
    """Add the lines of these cells to a table, each as soon as it is done; those that stand there are not run again.

    Raises
    ------
    CallError
        ``bad_number`` of runs or processes; ``another_table`` where the file is none, or was made with other
        thresholds, choices, study file, scenarios, seeds or numbers of runs.
    PublishError
        As `check_place`, before anything is drawn.
    """
    for name, number in (("runs", runs), ("processes", processes)):
        demand_some(name, number)
    check_place(path, replace=True)
    with pool(processes) as mapped:
        for cell in cells:
            if cell.name in _done(path, runs, seeds):
                continue
            progress(cell.name)
            line = pd.DataFrame([rehearse(cell, runs, seeds=seeds, mapped=mapped)])
            new = not path.exists()
            line.to_csv(path, mode="a", header=new, index=False, lineterminator="\n")


def _terms(runs: int, seeds: Seeds) -> dict[str, str | int]:
    """On which terms a line of the table stands; they are the same in all lines."""
    return {
        "seeds": seeds,
        "base_seed": BASE_SEED[seeds],
        "runs": runs,
        "thresholds": file_hash(THRESHOLDS_FILE),
        "choices": file_hash(CHOICES_FILE),
        "setting": setting_hash(),
    }


def read_table(path: Path) -> pd.DataFrame:
    """The table, one row a cell."""
    texts: dict[Hashable, type[str]] = dict.fromkeys(("scenario", *TEXTS), str)
    return pd.read_csv(path, dtype=texts, keep_default_na=False, na_values={"mean_difference": [""]})


def _done(path: Path, runs: int, seeds: Seeds) -> set[str]:
    """The cells that stand in a table."""
    if not path.exists():
        return set()
    try:
        table = read_table(path)
    except ValueError:  # pandas' own faults, and bytes that are no text
        table = pd.DataFrame()
    if not {*NAMED, *COUNTED} <= set(table.columns):
        raise CallError(
            "another_table", f"{path.name} is no table of a rehearsal as it is made now.", "Name a new file."
        )
    for name, value in _terms(runs, seeds).items():
        if not (table[name] == value).all():
            raise CallError(
                "another_table",
                f"{path.name} was made with other {name.replace('_', ' ')} than now.",
                "Name a new file.",
            )
    return set(table["scenario"] + "/" + table["mishaps"].astype(str))


def demand_some(name: str, number: int) -> None:
    """Refuse a number of runs or processes below one.

    Raises
    ------
    CallError
        ``bad_number``.
    """
    if number < 1:
        raise CallError("bad_number", f"There cannot be {number} {name}.", "Write a whole number from 1 on.")


@contextmanager
def pool(processes: int) -> Iterator[Callable[..., Iterator[Any]]]:
    """``map``, or that of a pool of so many processes."""
    if processes == 1:
        yield map
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        yield partial(pool.map, chunksize=5)
