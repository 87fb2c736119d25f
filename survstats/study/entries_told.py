"""What wrong entries of the dead's training could make of the difference, by id."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pandas as pd

from survstats.challenge.doubt_figures import MiscodingFigures
from survstats.challenge.miscoding import Leg, all_unknown_leg, found_leg, undocumented_dead
from survstats.challenge.miscoding_grid import miscoding_grid
from survstats.challenge.verdict import thresholds
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream
from survstats.study.counting import COMPARED, out_value
from survstats.study.estimating import EXPOSURE, OUTCOME, quartet
from survstats.study.imputing import RESTS_ON, plan_of
from survstats.study.plan import Study
from survstats.study.results_builder import ResultsBuilder, people

IDS = ("miscoding.rd_found", "miscoding.rd_all_unknown", "miscoding.moved", "miscoding_grid")


def store_entries(
    out: ResultsBuilder,
    frame: pd.DataFrame,
    study: Study,
    *,
    banners: Sequence[str],
    estimated: bool,
    whole: bool,
) -> MiscodingFigures:
    """Both legs of the check on wrong entries, who they are about, and the grid of how often entries are wrong.

    Parameters
    ----------
    out : ResultsBuilder
    frame : DataFrame
        Everyone in the primary population, in an order that their ids do not decide.
    study : Study
    banners : sequence of str
        The rules on who was trained and who lived that these records break.
    estimated : bool
        Whether there is a main estimate.
    whole : bool
        Whether the grid is made too.
    """
    doubtful = undocumented_dead(frame, outcome=OUTCOME, exposure=EXPOSURE)
    compared_dead = (frame[EXPOSURE].notna() & (frame[OUTCOME] == 0)).to_numpy(bool)
    out.count_people("miscoding.undocumented_dead", people(frame["file_row"][doubtful]))
    out.count_people("miscoding.documented_dead", people(frame["file_row"][compared_dead & ~doubtful]))
    sensitivity = study.plan.challenge.sensitivity_inferred
    out.figure("miscoding.sensitivity", sensitivity, unit="share", method="study_file")
    if whole:
        _store_grid(out)
    found, all_unknown, reason = _legs(out, frame, study, some=bool(doubtful.any()), estimated=estimated)
    by_fate = _by_fate(banners, undocumented=bool(doubtful.any()))
    return MiscodingFigures(
        int(doubtful.sum()), found, all_unknown, reason, by_fate, compared_dead=int(compared_dead.sum())
    )


def _by_fate(banners: Sequence[str], *, undocumented: bool) -> bool:
    """Whether the records look as if training had been written down by who lived, and no paper speaks against it.

    That all the dead have the same entry (R40) is also what a large effect looks like: certificates and rosters of all
    of them answer the suspicion. That kin told of the dead and survivors of themselves (R41) is no paper.
    """
    return "R41" in banners or ("R40" in banners and undocumented)


def _legs(
    out: ResultsBuilder, frame: pd.DataFrame, study: Study, *, some: bool, estimated: bool
) -> tuple[Leg | None, Leg | None, str]:
    """Both legs, None for one that cannot be made, and why."""
    if not some or not estimated:
        reason = out.absent.get("effect.rd", "few_mishaps") if some else "no_undocumented"
        out.leave_out(reason, *IDS[:3])
        return None, None, "not_estimated"
    plan, columns, seed = plan_of(study, frame), quartet(study.covariates), study.plan.run.seed
    found = _leg(
        out,
        "found",
        lambda: found_leg(
            frame,
            plan=plan,
            sensitivity=study.plan.challenge.sensitivity_inferred,
            rng=stream(seed, "miscoding.found"),
            **columns,
        ),
    )
    if found is None:
        out.leave_out(out.absent["miscoding.rd_found"], "miscoding.moved")
    else:
        out.figure("miscoding.moved", found.people, unit="people", method="imputed", rests_on=RESTS_ON)
        out.codes["miscoding.touched"] = "slight" if found.people < 1 else "some"
    all_unknown = _leg(
        out,
        "all_unknown",
        lambda: all_unknown_leg(
            frame,
            plan=plan,
            fewest_documented=int(thresholds()["miscoding"]["fewest_documented_dead"]),
            rng=stream(seed, "miscoding.all_unknown"),
            **columns,
        ),
    )
    few = out.absent.get("miscoding.rd_all_unknown") == "few_documented_dead"
    return found, all_unknown, "few_documented" if few else "not_estimated"


def _leg(out: ResultsBuilder, name: str, made: Callable[[], Leg]) -> Leg | None:
    try:
        leg = made()
    except NotEstimable as fault:
        out.leave_out(fault.reason, f"miscoding.rd_{name}")
        return None
    out.estimate(f"miscoding.rd_{name}", leg.difference, rests_on=RESTS_ON)
    return leg


def _store_grid(out: ResultsBuilder) -> None:
    """The crude difference for a range of how often entries are wrong."""
    trained_survived, trained_died, untrained_survived, untrained_died = (
        out_value(out, name) for name in COMPARED
    )
    if not (trained_survived + untrained_survived and trained_died + untrained_died):
        out.leave_out("one_outcome" if out_value(out, "cohort.analysed") else "no_rows", "miscoding_grid")
        return
    points = miscoding_grid(
        trained_survived,
        trained_survived + untrained_survived,
        trained_died,
        trained_died + untrained_died,
    )
    out.table(
        "miscoding_grid",
        ("sensitivity_dead", "sensitivity_survivors", "specificity", "difference"),
        [
            (one.sensitivity_dead, one.sensitivity_survivors, one.specificity, one.difference)
            for one in points
        ],
        rests_on=COMPARED,
    )
