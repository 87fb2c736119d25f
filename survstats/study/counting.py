"""What was seen: counts, shares and the survivor headline of these records, by id."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.challenge.survivor_only import difference_range
from survstats.challenge.unknown_status import CELLS, PERHAPS_CELLS, UnknownBounds, unknown_bounds
from survstats.effects.exact_table import exact_share, newcombe_difference
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.records.cohort import Cohort
from survstats.study.results_builder import People, ResultsBuilder, people

#: Trained status by the name it has in the ids.
STATUSES = {
    "trained": "current",
    "untrained": "none",
    "unknown": "unknown",
    "lapsed": "lapsed",
    "briefing": "briefing_or_dry_only",
}
#: The four counts that every comparison of the trained and the untrained rests on.
COMPARED = tuple(
    f"seen.{group}_{fate}" for group in ("trained", "untrained") for fate in ("survived", "died")
)


def store_cohort(out: ResultsBuilder, cohort: Cohort, *, prefix: str) -> None:
    """Counts of a population, its ledger and its rows."""
    frame, analysed, lines = cohort.frame, cohort.analysed, cohort.ledger.lines
    out.count_people(f"{prefix}.population", _who(frame))
    out.count_people(f"{prefix}.analysed", _who(analysed))
    out.count_people(f"{prefix}.died", _who(analysed[analysed["survived"] == 0]))
    out.count_people(f"{prefix}.survived", _who(analysed[analysed["survived"] == 1]))
    for name, whole in (("population", frame), ("analysed", analysed)):
        mishaps = "mishaps" if name == "analysed" else f"{name}_mishaps"
        out.count(f"{prefix}.{mishaps}", whole["mishap_id"].nunique(), rests_on=(f"{prefix}.{name}",))
    for line in lines:
        out.count_people(f"{prefix}.ledger.{line.code}", People(line.rows))
    twice = cohort.ledger.line("second_source").rows
    out.count_people(f"{prefix}.aboard", People(cohort.ledger.line("aboard").rows - twice))
    out.table(
        f"ledger_{cohort.population.lower()}",
        ("step", "occupants", "mishaps", "survived", "died"),
        [
            (
                line.code,
                People(line.rows),
                line.mishaps,
                None if line.survived is None else People(line.rows_survived),
                None if line.died is None else People(line.rows - line.rows_survived),
            )
            for line in lines
        ],
    )
    out.rows[cohort.population] = _keys(frame)


def store_rows(out: ResultsBuilder, derived: pd.DataFrame) -> None:
    """The keys of everyone who has a row, whatever population they stand in."""
    out.rows["records"] = _keys(derived)


def _keys(frame: pd.DataFrame) -> list[tuple[str, str, int]]:
    keys = zip(frame["mishap_id"], frame["occupant_id"], frame["file_row"], strict=True)
    return [(str(mishap), str(occupant), int(row)) for mishap, occupant, row in keys]


def store_seen(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    """The crude table of the primary population: fate by what is recorded of training."""
    lived = frame["survived"] == 1
    groups = {name: frame["trained_status"] == status for name, status in STATUSES.items()}
    groups["documented"] = frame["documented"]
    for name, group in groups.items():
        out.count_people(f"seen.{name}_survived", _who(frame[group & lived]))
        out.count_people(f"seen.{name}_died", _who(frame[group & ~lived]))
        out.count_people(f"seen.{name}", _who(frame[group]))
    out.count_people("seen.neither", _who(frame[groups["lapsed"] | groups["briefing"]]))
    unclear = frame["recency_ambiguous"] & ~groups["unknown"]
    out.count_people("seen.recency_unclear", _who(frame[unclear]))
    out.count_people("seen.order_unclear", _who(frame[frame["order_ambiguous"]]))
    out.count_people("seen.survived", _who(frame[lived]))
    out.count_people("seen.died", _who(frame[~lived]))
    out.table(
        "seen",
        ("training", "survived", "died"),
        [(name, _who(frame[groups[name] & lived]), _who(frame[groups[name] & ~lived])) for name in STATUSES],
    )


def note_compared(out: ResultsBuilder, analysed: pd.DataFrame, *, prefix: str) -> tuple[str, ...]:
    """The four groups compared in a population, kept as what its estimates rest on; their ids."""
    names = []
    for group, trained in (("trained", 1), ("untrained", 0)):
        for fate, survived in (("survived", 1), ("died", 0)):
            chosen = analysed[(analysed["trained"] == trained) & (analysed["survived"] == survived)]
            names.append(f"{prefix}.{group}_{fate}")
            out.parts[names[-1]] = _who(chosen).rows
    return tuple(names)


def _who(frame: pd.DataFrame) -> People:
    return people(frame["file_row"])


def out_value(out: ResultsBuilder, name: str) -> int:
    """A count stored before."""
    return int(out.numbers[name].value)


_PERHAPS_PARTS = tuple(f"unknown.perhaps_{name}" for name in ("trained", "untrained", "unknown"))
_PERHAPS = {"current": 0, "none": 1, "unknown": 2}


def cell_counts(frame: pd.DataFrame, labels: pd.Index) -> NDArray[np.float64]:
    """People per mishap, shape (g, 6), in the order of `survstats.challenge.unknown_status.CELLS`.

    Lapsed and briefed people stand in neither group and are not counted. ``labels`` are the g mishaps.
    """
    status = frame["trained_status"].astype(str).map({"current": 0, "none": 2, "unknown": 4})
    rows = frame[status.notna()]
    cells = status[status.notna()].astype(int) + (rows["survived"] == 0)
    return counted(rows["mishap_id"], cells, labels, len(CELLS))


def perhaps_counts(derived: pd.DataFrame, labels: pd.Index) -> NDArray[np.float64]:
    """The dead who perhaps died on impact, shape (g, 3), in the order of `PERHAPS_CELLS`."""
    perhaps = perhaps_on_impact(derived)
    cells = perhaps["trained_status"].astype(str).map(_PERHAPS)
    return counted(perhaps["mishap_id"], cells.astype(int), labels, len(PERHAPS_CELLS))


def perhaps_on_impact(derived: pd.DataFrame) -> pd.DataFrame:
    """The dead of mishaps whose impact could be survived, of whom nobody recorded whether they were alive when the
    aircraft flooded; the lapsed and the briefed among them stand in neither group and are left out.
    """
    return derived[
        derived["in_p2"]
        & derived["impact_survivability"].isin(["survivable", "partially_survivable"])
        & ~derived["alive_at_immersion"].isin(["yes", "no"])
        & (derived["survived"] == 0)
        & derived["trained_status"].isin(list(_PERHAPS))
    ]


def counted(mishaps: pd.Series, cells: pd.Series, labels: pd.Index, width: int) -> NDArray[np.float64]:
    """People by mishap and cell, shape (g, width)."""
    counts = np.zeros((len(labels), width))
    np.add.at(counts, (labels.get_indexer(pd.Index(mishaps)), cells.to_numpy()), 1.0)
    return counts


def store_perhaps(out: ResultsBuilder, derived: pd.DataFrame) -> None:
    """The people whom the range over the unknown is about, and whether all aboard have a row; to be called after
    `store_cohort` and `store_seen`.
    """
    perhaps = perhaps_on_impact(derived)
    out.codes["unknown.rows"] = "part" if out.people["cohort.ledger.no_row"] else "whole"
    out.count_people("unknown.perhaps", _who(perhaps))
    out.count_people("unknown.people", People(_who(perhaps).rows | out.people["seen.unknown"]))
    for name, status in list(STATUSES.items())[: len(_PERHAPS)]:
        out.parts[f"unknown.perhaps_{name}"] = _who(perhaps[perhaps["trained_status"] == status]).rows


def store_unknown(
    out: ResultsBuilder, counts: NDArray[np.float64], perhaps: NDArray[np.float64]
) -> UnknownBounds | None:
    """What the unknown could do to the crude difference: people of unknown training, and the dead who perhaps died
    on impact; where there are such dead, also what the people of unknown training alone could do.
    """
    unknown = (*COMPARED, "seen.unknown_survived", "seen.unknown_died")
    if perhaps.any():
        _store_range(out, "unknown.status_rd", counts, np.zeros_like(perhaps), rests_on=unknown)
    return _store_range(out, "unknown.rd", counts, perhaps, rests_on=(*unknown, *_PERHAPS_PARTS))


def _store_range(
    out: ResultsBuilder,
    name: str,
    counts: NDArray[np.float64],
    perhaps: NDArray[np.float64],
    *,
    rests_on: tuple[str, ...],
) -> UnknownBounds | None:
    counts, perhaps = _with_people(counts, perhaps)
    try:
        found = unknown_bounds(counts, perhaps)
    except NotEstimable as fault:
        out.absent[f"{name}_low"] = out.absent[f"{name}_high"] = fault.reason
        return None
    for end, value, limit in (
        ("low", found.low, found.interval_low),
        ("high", found.high, found.interval_high),
    ):
        out.estimate(
            f"{name}_{end}",
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
            rests_on=rests_on,
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
            out.estimate(name, exact_share(lived, total, mishaps=mishaps), rests_on=COMPARED)
        else:
            out.absent[name] = "no_rows"
    try:
        difference = newcombe_difference((lived1, lived1 + died1), (lived0, lived0 + died0), mishaps=mishaps)
        out.estimate("crude.rd_exact", difference, rests_on=COMPARED)
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
    who = {name: out.people[f"seen.{name}"] for name in ("trained_survived", "untrained_survived")}
    who |= {name: out.people[f"seen.{name}"] for name in ("trained_died", "untrained_died", "unknown_died")}
    known = who["trained_died"] | who["untrained_died"]
    out.count_people("claim.survivors", People(who["trained_survived"] | who["untrained_survived"]))
    out.count_people("claim.dead", People(known | who["unknown_died"]))
    out.count_people("claim.dead_known", People(known))
    shares = {
        "claim.trained_of_survivors": share,
        "claim.trained_of_dead_least": total[1] / dead,
        "claim.trained_of_dead_most": (total[1] + total[5]) / dead,
    }
    if known_dead:
        shares["claim.trained_of_known_dead"] = total[1] / known_dead
    else:
        out.absent["claim.trained_of_known_dead"] = "none_known"
    rests_on = (*COMPARED, "seen.unknown_died")
    for name, value in shares.items():
        out.figure(name, value, unit="share", method="counted", rests_on=rests_on)
    for name, value in (("claim.rd_low", low), ("claim.rd_high", high)):
        out.figure(name, value, unit="difference", method="survivor_only", rests_on=rests_on)
