"""Would the time ratio alone make the difference in who gets out, by id: the race of way out and breath."""

from __future__ import annotations

import pandas as pd

from survstats.effects.getting_out import OUT, Bools, way_out
from survstats.effects.race import breath_hold, share_below, speed_alone, unseen_from_breath
from survstats.effects.race_times import (
    SeenTimes,
    mishap_times,
    pool_times,
    ratio_of,
    share_known_out,
    side_of,
)
from survstats.effects.risk_model import prepare
from survstats.effects.run_rows import RunRows
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable
from survstats.study.egress_told import compared_in, too_few
from survstats.study.estimating import CLUSTER, EXPOSURE, FEWEST_MISHAPS, quartet
from survstats.study.everybody import Everybody
from survstats.study.plan import Study
from survstats.study.results import Number
from survstats.study.results_builder import ResultsBuilder, number_of, people

RECORD_IDS = (
    *("race.observed", "race.share_seen", "race.untrained_median", "race.untrained_spread"),
    *("race.mishap_median", "race.pool_median", "race.pool_people", "race.ratio"),
    *("race.before_capsize", "race.after_capsize"),
)
BREATH_IDS = (
    *("race.breath_median", "race.breath_multiplier", "race.breath_below"),
    *("race.breath_told", "race.breath_implied", "race.breath_people"),
)
RACE_IDS = (*RECORD_IDS, *BREATH_IDS, "race.share", "race.gap_least", "race.gap_most")
#: Behind the numbers: passengers compared in cabins that capsized or sank, the untrained of them, all who got out.
_COMPARED, _UNTRAINED, _OUT = "race.compared", "race.untrained", "race.timed"
_POOL = ("race.pool_median", "race.pool_people", "race.ratio")
_RACING = "inverted"


def store_race_records(
    out: ResultsBuilder, study: Study, all_people: Everybody, runs: RunRows | None
) -> None:
    """What the records give to the race: who got out of cabins that capsized or sank, how soon, and times in the pool.

    Differences and shares are those of passengers: for crew, capsizing follows from their own training.
    """
    frame = all_people.primary.frame
    racing = frame.loc[frame["capsized"].eq("yes")].reset_index(drop=True)
    known = racing.loc[racing["role"].eq("passenger") & racing[OUT].notna()]
    passengers = compared_in(known)
    untrained = passengers.loc[passengers[EXPOSURE].eq(0)].reset_index(drop=True)
    timed = _store_clocks(out, racing)
    for name, group in ((_COMPARED, passengers), (_UNTRAINED, untrained), (_OUT, racing.loc[timed])):
        out.parts[name] = people(group["file_row"]).rows
    covariates = [name for name in study.covariates if name != "role" and passengers[name].notna().any()]
    if (mishaps := passengers[CLUSTER].nunique()) < FEWEST_MISHAPS:
        out.leave_out(too_few(mishaps), "race.observed", "race.share_seen")
    else:
        _store_shares(out, passengers, untrained, covariates)
    with out.or_absent("race.untrained_median", "race.untrained_spread"):
        seen = _times(untrained)
        out.estimate("race.untrained_median", seen.median, rests_on=(_UNTRAINED,))
        out.figure(
            *("race.untrained_spread", seen.spread),
            unit="log_seconds",
            method="lognormal",
            rests_on=(_UNTRAINED,),
        )
    _store_beside_the_pool(out, racing, runs)


def _store_clocks(out: ResultsBuilder, racing: pd.DataFrame) -> Bools:
    """How many were surely out before such a cabin capsized, and surely after; returns who has a time (n,).

    Times run from contact with the water, breath and pool from going under.
    """
    way = way_out(racing)
    first, last = (racing[f"t_capsize_{end}_s"].to_numpy(float) for end in ("lo", "hi"))
    for name, surely in (("before", way.high <= first), ("after", way.low >= last)):
        out.count_people(f"race.{name}_capsize", people(racing.loc[way.timed & surely, "file_row"]))
    return way.timed


def _store_shares(
    out: ResultsBuilder, passengers: pd.DataFrame, untrained: pd.DataFrame, covariates: list[str]
) -> None:
    """How far the groups differ in getting out of such a cabin, and how many of the untrained did."""
    with out.or_absent("race.observed"):
        found = standardise(prepare(passengers, **quartet(covariates, outcome=OUT)))
        out.estimate("race.observed", found.difference, rests_on=(_COMPARED,))
    with out.or_absent("race.share_seen"):
        share = share_known_out(untrained[OUT].to_numpy(float), untrained[CLUSTER])
        out.estimate("race.share_seen", share, rests_on=(_UNTRAINED,))


def _times(frame: pd.DataFrame) -> SeenTimes:
    return mishap_times(way_out(frame), frame[CLUSTER])


def _store_beside_the_pool(out: ResultsBuilder, racing: pd.DataFrame, runs: RunRows | None) -> None:
    """Times of everyone who got out of such a cabin beside those of inverted runs in the pool."""
    mishap, pool = None, None
    with out.or_absent("race.mishap_median", "race.ratio"):
        mishap = _times(racing).median
        out.estimate("race.mishap_median", mishap, rests_on=(_OUT,))
    if runs is None:
        out.leave_out(out.absent.get("runs_model", "not_recorded"), *_POOL)
        return
    with out.or_absent(*_POOL):
        pool = pool_times(runs, _RACING).median
        out.number("race.pool_median", number_of(pool))
        out.count("race.pool_people", pool.mishaps)
    if mishap is not None and pool is not None:
        ratio = ratio_of(mishap, pool)
        out.estimate("race.ratio", ratio, rests_on=(_OUT,))
        out.codes["race.pool"] = side_of(ratio.low, ratio.high, 1.0, 1.0)


def store_race(out: ResultsBuilder, study: Study) -> None:
    """The race itself, from what is stored: what speed alone would make, and what a published breath would let out.

    The code ``race.finding`` is ``larger`` where all of the observed interval lies above what the time ratio, with its
    interval, would make, or all below a change that may be none; ``smaller`` where it lies below else; ``open`` where
    they meet and the observed difference may as well be none; ``unsettled`` where they meet else and the times may as
    well make none; ``of_the_size`` where they meet else; ``not_estimated`` without either. Where the times would make
    fewer get out, above and below change places.

    ``race.breath`` says on which side of the share seen the published breath puts the share out; ``race.multiplier``
    whether the study file gives a figure for cold water, or none was given.
    """
    anchor, multiplier = breath_hold(), study.plan.breath.multiplier
    _store_breath(out, multiplier)
    given = "multiplier" in study.plan.breath.model_fields_set
    out.codes["race.multiplier"] = "given" if given else "default"
    out.codes["race.finding"] = "not_estimated"
    numbers, spreads = out.numbers, (anchor.spread_least, anchor.spread_most)
    with out.or_absent("race.gap_least", "race.gap_most"):
        ratio, share, spread = (
            _stored(out, name) for name in ("egress.time_ratio", "race.share_seen", "race.untrained_spread")
        )
        gaps = speed_alone(_limits(ratio), share.value, spread.value, spreads)
        for name, gap in zip(("least", "most"), gaps, strict=True):
            out.figure(
                *(f"race.gap_{name}", gap),
                unit="difference",
                method="race",
                rests_on=(_UNTRAINED, *out.rests_on["egress.time_ratio"]),
            )
        if (observed := numbers.get("race.observed")) is not None:
            out.codes["race.finding"] = _finding(_limits(observed), gaps)
    with out.or_absent("race.share"):
        median, spread, seen = (
            _stored(out, f"race.{name}") for name in ("untrained_median", "untrained_spread", "share_seen")
        )
        quick, slow = _limits(median)
        middle, most, least = (
            [unseen_from_breath(at, spread.value, multiplier * anchor.median_s, one).share for one in spreads]
            for at in (median.value, quick, slow)
        )
        share = Number(sum(middle) / len(middle), "share", "race", min(least), max(most))
        out.number("race.share", share, rests_on=(_UNTRAINED,))
        out.codes["race.breath"] = side_of(*_limits(share), *_limits(seen))


def _finding(observed: tuple[float, float], gaps: tuple[float, float]) -> str:
    """The code of `store_race`, from the limits of what was seen and of what the times would make."""
    if sum(gaps) < 0:
        observed, gaps = (-observed[1], -observed[0]), (-gaps[1], -gaps[0])
    side, no_gap = side_of(*observed, *gaps), gaps[0] <= 0
    if side == "alike":
        no_difference = observed[0] <= 0 <= observed[1]
        return "open" if no_difference else "unsettled" if no_gap else "of_the_size"
    return "larger" if side == "above" or no_gap else "smaller"


def _store_breath(out: ResultsBuilder, multiplier: float) -> None:
    """The published anchor, with what its own figures say of each other."""
    anchor = breath_hold()
    out.texts["race.source"] = anchor.source
    out.figure("race.breath_people", anchor.people, unit="count", method="published")
    out.figure("race.breath_median", multiplier * anchor.median_s, unit="seconds", method="published")
    out.figure("race.breath_multiplier", multiplier, unit="ratio", method="study_file")
    out.figure("race.breath_below", anchor.below_s, unit="seconds", method="published")
    out.figure("race.breath_told", anchor.share_below, unit="share", method="published")
    implied = share_below(anchor.below_s, anchor.median_s, anchor.spread_least)
    out.figure("race.breath_implied", implied, unit="share", method="published")


def _stored(out: ResultsBuilder, name: str) -> Number:
    if name not in out.numbers:
        raise NotEstimable(out.absent.get(name, "not_recorded"), f"'{name}' is not there.")
    return out.numbers[name]


def _limits(found: Number) -> tuple[float, float]:
    if found.low is None or found.high is None:
        raise NotEstimable("race_no_answer", "A number that the race needs has no interval.")
    return found.low, found.high
