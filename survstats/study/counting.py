"""What was seen: counts, shares and the survivor headline of these records, by id."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.challenge.survivor_only import difference_range
from survstats.challenge.unknown_status import CELLS, PERHAPS_CELLS, UnknownBounds, unknown_bounds
from survstats.describe.tallies import tally
from survstats.effects.exact_table import exact_share, newcombe_difference
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.records.cohort import Cohort
from survstats.study.results import ResultsBuilder, Table


def store_cohort(out: ResultsBuilder, cohort: Cohort, *, prefix: str) -> None:
    """Counts of a population, its ledger and its rows."""
    frame, analysed = cohort.frame, cohort.analysed
    out.count(f"{prefix}.population", len(frame))
    out.count(f"{prefix}.population_mishaps", frame["mishap_id"].nunique())
    out.count(f"{prefix}.analysed", len(analysed))
    out.count(f"{prefix}.mishaps", analysed["mishap_id"].nunique())
    out.count(f"{prefix}.died", int((analysed["survived"] == 0).sum()))
    out.count(f"{prefix}.survived", int((analysed["survived"] == 1).sum()))
    for line in cohort.ledger.lines:
        out.count(f"{prefix}.ledger.{line.code}", line.occupants)
    twice = out_value(out, f"{prefix}.ledger.second_source")
    out.count(f"{prefix}.aboard", out_value(out, f"{prefix}.ledger.aboard") - twice)
    out.tables[f"ledger_{cohort.population.lower()}"] = Table(
        ("step", "occupants", "mishaps", "survived", "died"),
        tuple(
            (line.code, line.occupants, line.mishaps, line.survived, line.died)
            for line in cohort.ledger.lines
        ),
    )
    out.rows[cohort.population] = [
        (str(mishap), str(occupant), int(row))
        for mishap, occupant, row in zip(
            frame["mishap_id"], frame["occupant_id"], frame["file_row"], strict=True
        )
    ]


def store_seen(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    """The crude table of the primary population: fate by what is recorded of training."""
    seen = tally(frame)
    statuses = {
        "trained": "current",
        "untrained": "none",
        "unknown": "unknown",
        "lapsed": "lapsed",
        "briefing": "briefing_or_dry_only",
    }
    cells = {f"{name}_survived": seen.survived[status] for name, status in statuses.items()}
    cells |= {f"{name}_died": seen.died[status] for name, status in statuses.items()}
    cells |= {"documented_survived": seen.documented_survived, "documented_died": seen.documented_died}
    for name, value in cells.items():
        out.count(f"seen.{name}", value)
    for name in (*statuses, "documented"):
        out.count(f"seen.{name}", cells[f"{name}_survived"] + cells[f"{name}_died"])
    out.count("seen.neither", out_value(out, "seen.lapsed") + out_value(out, "seen.briefing"))
    out.count(
        "seen.recency_unclear",
        int((frame["recency_ambiguous"] & frame["trained_status"].ne("unknown")).sum()),
    )
    out.count("seen.survived", seen.n_survived)
    out.count("seen.died", seen.n_died)
    out.tables["seen"] = Table(
        ("training", "survived", "died"),
        tuple((name, cells[f"{name}_survived"], cells[f"{name}_died"]) for name in statuses),
    )


def out_value(out: ResultsBuilder, name: str) -> int:
    """A count stored before."""
    return int(out.numbers[name].value)


def cell_counts(frame: pd.DataFrame, labels: pd.Index) -> NDArray[np.float64]:
    """People per mishap, shape (g, 6), in the order of `survstats.challenge.unknown_status.CELLS`.

    Lapsed and briefed people stand in neither group and are not counted. ``labels`` are the g mishaps.
    """
    status = frame["trained_status"].astype(str).map({"current": 0, "none": 2, "unknown": 4})
    rows = frame[status.notna()]
    cells = status[status.notna()].astype(int) + (rows["survived"] == 0)
    return counted(rows["mishap_id"], cells, labels, len(CELLS))


def perhaps_counts(derived: pd.DataFrame, labels: pd.Index) -> NDArray[np.float64]:
    """The dead who perhaps died on impact, shape (g, 3), in the order of `PERHAPS_CELLS`.

    They were aboard mishaps whose impact could be survived, and nobody recorded whether they were alive when the
    aircraft flooded.
    """
    perhaps = derived[
        derived["in_p2"]
        & derived["impact_survivability"].isin(["survivable", "partially_survivable"])
        & ~derived["alive_at_immersion"].isin(["yes", "no"])
        & (derived["survived"] == 0)
    ]
    cells = perhaps["trained_status"].astype(str).map({"current": 0, "none": 1, "unknown": 2})
    return counted(
        perhaps["mishap_id"][cells.notna()], cells.dropna().astype(int), labels, len(PERHAPS_CELLS)
    )


def counted(mishaps: pd.Series, cells: pd.Series, labels: pd.Index, width: int) -> NDArray[np.float64]:
    """People by mishap and cell, shape (g, width)."""
    counts = np.zeros((len(labels), width))
    np.add.at(counts, (labels.get_indexer(pd.Index(mishaps)), cells.to_numpy()), 1.0)
    return counts


def store_unknown(
    out: ResultsBuilder, counts: NDArray[np.float64], perhaps: NDArray[np.float64]
) -> UnknownBounds | None:
    """What the unknown could do to the crude difference: people of unknown training, and the dead who perhaps died
    on impact.
    """
    out.count("unknown.perhaps", int(perhaps.sum()))
    out.count("unknown.people", int(counts[:, 4:].sum() + perhaps.sum()))
    counts, perhaps = _with_people(counts, perhaps)
    try:
        found = unknown_bounds(counts, perhaps)
    except NotEstimable as fault:
        out.absent["unknown.rd_low"] = out.absent["unknown.rd_high"] = fault.reason
        return None
    for name, value, limit in (
        ("unknown.rd_low", found.low, found.interval_low),
        ("unknown.rd_high", found.high, found.interval_high),
    ):
        out.estimate(
            name,
            Estimate(
                value=value,
                low=min(value, limit),
                high=max(value, limit),
                se=float("nan"),
                level=0.95,
                df=float(found.mishaps - 1),
                scale="identity",
                unit="difference",
                method="worst_case",
                mishaps=found.mishaps,
                occupants=found.occupants,
            ),
        )
    return found


def worst_case_excludes_zero(counts: NDArray[np.float64], perhaps: NDArray[np.float64]) -> bool:
    """Whether the interval of the worst case lies on one side of no difference; False where there is none."""
    try:
        return unknown_bounds(*_with_people(counts, perhaps)).interval_excludes_zero
    except NotEstimable:
        return False


def _with_people(
    counts: NDArray[np.float64], perhaps: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The mishaps in which anybody is counted: the others are no replicates of a jackknife."""
    there = counts.sum(axis=1) + perhaps.sum(axis=1) > 0
    return counts[there], perhaps[there]


def store_exact(out: ResultsBuilder, counts: NDArray[np.float64]) -> None:
    """Survival of both groups with exact limits, and their difference, as if people were independent."""
    lived1, died1, lived0, died0 = (int(value) for value in counts.sum(axis=0)[:4])
    mishaps = int((counts[:, :4].sum(axis=1) > 0).sum())
    for name, lived, total in (
        ("seen.survival_trained", lived1, lived1 + died1),
        ("seen.survival_untrained", lived0, lived0 + died0),
    ):
        if total:
            out.estimate(name, exact_share(lived, total, mishaps=mishaps))
        else:
            out.absent[name] = "no_rows"
    try:
        difference = newcombe_difference((lived1, lived1 + died1), (lived0, lived0 + died0), mishaps=mishaps)
        out.estimate("crude.rd_exact", difference)
    except NotEstimable as fault:
        out.absent["crude.rd_exact"] = fault.reason


def store_headline(out: ResultsBuilder, counts: NDArray[np.float64]) -> None:
    """The survivor headline of these records: what it would say, and where it would mean no effect.

    Survivors are those known to be trained or never trained; the dead are those two and the unknown.
    """
    total = counts.sum(axis=0)
    survivors, known_dead = total[0] + total[2], total[1] + total[3]
    dead = known_dead + total[5]
    if survivors == 0 or dead == 0:
        reason = "no_survivors" if survivors == 0 else "nobody_died"
        for name in ("claim.rd_low", "claim.rd_high", "claim.trained_of_survivors"):
            out.absent[name] = reason
        return
    share = total[0] / survivors
    out.codes["claim.share"] = "all" if share == 1 else "none" if share == 0 else "some"
    low, high = difference_range(survivors, dead, of_survivors=(share, share))
    out.figure("claim.trained_of_survivors", share, unit="share", method="counted")
    out.figure("claim.rd_low", low, unit="difference", method="survivor_only")
    out.figure("claim.rd_high", high, unit="difference", method="survivor_only")
    out.count("claim.survivors", int(survivors))
    out.count("claim.dead", int(dead))
    out.count("claim.dead_known", int(known_dead))
    out.figure("claim.trained_of_dead_least", total[1] / dead, unit="share", method="counted")
    out.figure("claim.trained_of_dead_most", (total[1] + total[5]) / dead, unit="share", method="counted")
    if known_dead:
        out.figure("claim.trained_of_known_dead", total[1] / known_dead, unit="share", method="counted")
    else:
        out.absent["claim.trained_of_known_dead"] = "none_known"
