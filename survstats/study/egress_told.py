"""Who got out, and by when as far as the bands of time say, by id."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from survstats.effects.getting_out import OUT, WayOut, by_themselves, rescued_untimed, way_out
from survstats.effects.out_curves import (
    Between,
    GroupCurve,
    curve_limits,
    difference_by,
    group_curve,
    seconds_within,
)
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.effects.time_rows import refuse_few
from survstats.groundwork.errors import NotEstimable
from survstats.study.estimating import CLUSTER, EXPOSURE, FEWEST_MISHAPS, OUTCOME, quartet
from survstats.study.results import Cell
from survstats.study.results_builder import People, ResultsBuilder, people

#: The seconds by which shares out are compared, those at which people are counted, and the last that is drawn.
ASKED, COUNTED_AT, LAST = (20.0, 60.0), (10.0, 20.0, 40.0, 60.0), 120.0
_WITHIN = 60.0
ARMS = {"trained": 1, "untrained": 0}

COUNT_IDS = (
    *("egress_people", "egress_at", "egress.rescued_inside", "egress.washed_out"),
    *("egress.died_out", "egress.died_out_timed"),
)
WIDEST_IDS = tuple(f"egress.widest_{at:.0f}_{end}" for at in ASKED for end in ("low", "high"))
SHARE_IDS = ("egress.share_out.trained", "egress.share_out.untrained", "egress.rd_out")
_BETWEEN_IDS = (
    *(f"egress.rd_{at:.0f}_{end}" for at in ASKED for end in ("least", "most")),
    *("egress.seconds_least", "egress.seconds_most"),
)
CURVE_IDS = ("egress_curve", "egress_boxes", *_BETWEEN_IDS)
IDS = (*COUNT_IDS, *WIDEST_IDS, *SHARE_IDS, *CURVE_IDS)

#: The counts that what compares the two groups rests on: who got out of each, and who stayed inside.
OUT_OR_IN = tuple(f"egress_people/{at}/{column}" for at in (0, 1) for column in ("out", "inside"))


def store_egress(
    out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str]
) -> dict[int, GroupCurve] | None:
    """Everything on getting out that needs no model of times, in P1.

    Parameters
    ----------
    out : ResultsBuilder
    frame : DataFrame
        Everyone in the primary population.
    covariates : sequence of str
        What is held equal where groups are compared.

    Returns
    -------
    dict of int to GroupCurve, or None
        The curve of each group, as `both_curves`; None where there is none.
    """
    known = way_out(frame)
    _store_people(out, frame, known)
    _store_at(out, frame, known)
    compared = compared_in(frame)
    _store_counts(out, compared)
    _store_widest(out, frame, known)
    if (mishaps := compared[CLUSTER].nunique()) < FEWEST_MISHAPS:
        out.leave_out(too_few(mishaps), *SHARE_IDS, *CURVE_IDS)
        return None
    _store_shares(out, compared, covariates)
    return _store_curves(out, compared)


def compared_in(frame: pd.DataFrame) -> pd.DataFrame:
    """Of the people in a population: the currently trained and the never trained."""
    return frame.loc[frame[EXPOSURE].notna()].reset_index(drop=True)


def too_few(mishaps: int) -> str:
    """The reason why so few mishaps carry no comparison."""
    return {0: "no_rows", 1: "one_mishap"}.get(mishaps, "few_mishaps")


def _store_people(out: ResultsBuilder, frame: pd.DataFrame, known: WayOut) -> None:
    """How many got out, stayed inside, or nobody knows; and how their times were written."""
    rows = frame["file_row"].to_numpy()
    timed, points = known.timed, known.points
    told = {
        "occupants": np.ones(len(known), dtype=bool),
        "out": known.ever == 1,
        "inside": known.ever == 0,
        "not_known": np.isnan(known.ever),
        "timed": timed,
        "points": points,
        "bands": timed & ~points,
        "time_unknown": (known.ever == 1) & ~timed,
    }
    out.table(
        "egress_people",
        ("arm", *told),
        [
            (arm, *(people(rows[group & who]) for who in told.values()))
            for arm, group in _groups(frame).items()
        ],
    )


def _groups(frame: pd.DataFrame) -> dict[str, np.ndarray]:
    exposure = frame[EXPOSURE].to_numpy(dtype=float)
    groups = {arm: exposure == value for arm, value in ARMS.items()}
    return groups | {"others": np.isnan(exposure)}


def _store_at(out: ResultsBuilder, frame: pd.DataFrame, known: WayOut) -> None:
    """How many are known to be out, known to be inside, or neither, at a few seconds."""
    rows = frame["file_row"].to_numpy()
    told: list[tuple[Cell | People, ...]] = []
    for arm, group in _groups(frame).items():
        if arm not in ARMS:
            continue
        for at in COUNTED_AT:
            gone, there = known.known_out(at), known.known_inside(at)
            cells = (group & gone, group & there, group & ~gone & ~there)
            told.append((arm, at, *(people(rows[cell]) for cell in cells)))
    out.table("egress_at", ("arm", "time_s", "known_out", "known_inside", "cannot_tell"), told)


def _store_counts(out: ResultsBuilder, compared: pd.DataFrame) -> None:
    """Of the people compared: who was brought out at no recorded second, who was washed out, who got out and died."""
    known, rows = way_out(compared), compared["file_row"].to_numpy()
    waited = rescued_untimed(compared)
    washed = compared["egress_outcome"].eq("washed_out").to_numpy(bool, na_value=False)
    died = (known.ever == 1) & (compared[OUTCOME].to_numpy(dtype=float) == 0)
    told = {
        "rescued_inside": waited,
        "washed_out": washed & known.timed & ~waited,
        "died_out": died,
        "died_out_timed": died & known.timed & ~waited,
    }
    for name, who in told.items():
        out.count_people(f"egress.{name}", people(rows[who]))


def _store_widest(out: ResultsBuilder, frame: pd.DataFrame, known: WayOut) -> None:
    """How far the groups may differ by some seconds whatever the times and fates were that nobody knows."""
    groups = _groups(frame)
    aboard = {arm: int(groups[arm].sum()) for arm in ARMS}
    if not all(aboard.values()):
        out.leave_out("one_arm" if any(aboard.values()) else "no_rows", *WIDEST_IDS)
        return
    for at in ASKED:
        gone, there = known.known_out(at), known.known_inside(at)
        least = {arm: float((gone & groups[arm]).sum()) / aboard[arm] for arm in ARMS}
        most = {arm: 1 - float((there & groups[arm]).sum()) / aboard[arm] for arm in ARMS}
        line = COUNTED_AT.index(at)
        rests_on = tuple(
            f"egress_at/{line + len(COUNTED_AT) * place}/{column}"
            for place in range(len(ARMS))
            for column in ("known_out", "known_inside", "cannot_tell")
        )
        for end, value in (
            ("low", least["trained"] - most["untrained"]),
            ("high", most["trained"] - least["untrained"]),
        ):
            name = f"egress.widest_{at:.0f}_{end}"
            out.figure(name, value, unit="difference", method="bounds", rests_on=rests_on)


def _store_shares(out: ResultsBuilder, compared: pd.DataFrame, covariates: Sequence[str]) -> None:
    """Share out if all, if none had been trained, and the difference, standardised as survival is."""
    with out.or_absent(*SHARE_IDS):
        known = compared.loc[compared[OUT].notna()]
        found = standardise(prepare(known, **quartet(covariates, outcome=OUT)))
        estimates = (found.if_all, found.if_none, found.difference)
        for name, estimate in zip(SHARE_IDS, estimates, strict=True):
            out.estimate(name, estimate, rests_on=OUT_OR_IN)


def _store_curves(out: ResultsBuilder, compared: pd.DataFrame) -> dict[int, GroupCurve] | None:
    """Curves of both groups without a model, and how far they differ by some seconds."""
    with out.or_absent(*CURVE_IDS):
        curves = both_curves(compared)
        _store_curve_tables(out, curves)
        trained, untrained = curves[1], curves[0]
        with out.or_absent(*_BETWEEN_IDS):
            _store_differences(out, compared, trained, untrained)
        return curves
    return None


def _store_differences(
    out: ResultsBuilder, compared: pd.DataFrame, trained: GroupCurve, untrained: GroupCurve
) -> None:
    """How far the curves differ; too few timed people stand for all the others."""
    refuse_few(way_out(by_themselves(compared)), compared[EXPOSURE].to_numpy(dtype=float), compared[CLUSTER])
    for at in ASKED:
        _store_between(out, f"egress.rd_{at:.0f}", difference_by(trained, untrained, at))
    _store_between(out, "egress.seconds", seconds_within(trained, untrained, until=_WITHIN))


def both_curves(compared: pd.DataFrame) -> dict[int, GroupCurve]:
    """The curve of the trained, by 1, and of the untrained, by 0, of getting out as `by_themselves` has it.

    Parameters
    ----------
    compared : DataFrame of n rows
        ``trained`` is 1 or 0.

    Raises
    ------
    NotEstimable
        ``one_arm``; ``one_outcome`` where nobody compared stayed inside, as when only survivors were asked: the curves
        would rise to all, whatever became of the others; and as `group_curve`.
    """
    known, exposure = way_out(by_themselves(compared)), compared[EXPOSURE].to_numpy(dtype=float)
    if not (known.ever == 0).any():
        raise NotEstimable("one_outcome", "Nobody compared is known to have stayed inside.")
    codes, labels = pd.factorize(compared[CLUSTER], sort=True)
    found = {}
    for arm in ARMS.values():
        group = exposure == arm
        if not group.any():
            raise NotEstimable("one_arm", "Everyone in the comparison stands in the same training group.")
        found[arm] = group_curve(known.of(group), codes[group].astype(np.int64), mishaps=len(labels))
    return found


def _store_curve_tables(out: ResultsBuilder, curves: Mapping[int, GroupCurve]) -> None:
    lines: list[tuple[Cell, ...]] = []
    boxes: list[tuple[Cell, ...]] = []
    for arm, value in ARMS.items():
        group = curves[value]
        ends = group.box_ends[(group.box_ends > 0) & (group.box_ends <= LAST)]
        found = curve_limits(group, np.concatenate([[0.0], ends]))
        columns = (found.times, found.least, found.most, found.low, found.high)
        lines += [(arm, *(float(cell) for cell in line)) for line in zip(*columns, strict=True)]
        curve = group.curve
        boxes += [
            (arm, float(left), float(right), float(mass))
            for left, right, mass in zip(curve.left, curve.right, curve.mass, strict=True)
            if mass > 0
        ]
    out.table("egress_curve", ("arm", "time_s", "least", "most", "low", "high"), lines, rests_on=OUT_OR_IN)
    out.table("egress_boxes", ("arm", "from_s", "to_s", "mass"), boxes, rests_on=OUT_OR_IN)


def _store_between(out: ResultsBuilder, name: str, found: Between) -> None:
    out.estimate(f"{name}_least", found.least, rests_on=OUT_OR_IN)
    out.estimate(f"{name}_most", found.most, rests_on=OUT_OR_IN)
    out.codes[f"{name}_form"] = found.form
