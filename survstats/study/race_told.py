"""Would the time ratio alone make the difference in who gets out, by id: the race of way out and breath."""

from __future__ import annotations

import pandas as pd

from survstats.effects.getting_out import OUT, way_out
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
from survstats.groundwork.estimate import Estimate
from survstats.study.egress_told import compared_in, too_few
from survstats.study.estimating import CLUSTER, EXPOSURE, FEWEST_MISHAPS, quartet
from survstats.study.everybody import Everybody
from survstats.study.plan import Study
from survstats.study.results import Number
from survstats.study.results_builder import ResultsBuilder, people

RECORD_IDS = (
    *("race.observed", "race.share_seen", "race.untrained_median", "race.untrained_spread"),
    *("race.mishap_median", "race.pool_median", "race.ratio"),
)
BREATH_IDS = (
    *("race.breath_median", "race.breath_multiplier", "race.breath_below"),
    *("race.breath_told", "race.breath_implied"),
)
RACE_IDS = (*RECORD_IDS, *BREATH_IDS, "race.share", "race.gap_least", "race.gap_most")
#: Behind the numbers: passengers compared in cabins that capsized or sank, the untrained of them, all who got out.
_COMPARED, _UNTRAINED, _OUT = "race.compared", "race.untrained", "race.timed"
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
    timed = way_out(racing).timed
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
        out.leave_out(out.absent.get("runs_model", "not_recorded"), "race.pool_median", "race.ratio")
        return
    with out.or_absent("race.pool_median", "race.ratio"):
        pool = pool_times(runs, _RACING).median
        out.number("race.pool_median", _without_mishaps(pool))
    if mishap is not None and pool is not None:
        ratio = ratio_of(mishap, pool)
        out.estimate("race.ratio", ratio, rests_on=(_OUT,))
        out.codes["race.pool"] = side_of(ratio.low, ratio.high, 1.0, 1.0)


def _without_mishaps(found: Estimate) -> Number:
    return Number(found.value, found.unit, found.method, found.low, found.high, found.level, found.df)


def store_race(out: ResultsBuilder, study: Study) -> None:
    """The race itself, from what is stored: what speed alone would make, and what a published breath would let out.

    The code ``race.finding`` is ``larger`` where all of the observed interval lies above what the time ratio, with its
    interval, would make; ``smaller`` where it lies below; ``open`` where they meet and the observed difference may as
    well be none; ``of_the_size`` where they meet else; ``not_estimated`` without either.
    ``race.breath`` says on which side of the share seen the published breath puts the share out.
    """
    anchor, multiplier = breath_hold(), study.plan.breath.multiplier
    _store_breath(out, multiplier)
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
        shares = sorted(
            unseen_from_breath(median.value, spread.value, multiplier * anchor.median_s, one).share
            for one in spreads
        )
        middle = sum(shares) / len(shares)
        out.number(
            "race.share", Number(middle, "share", "race", shares[0], shares[-1]), rests_on=(_UNTRAINED,)
        )
        out.codes["race.breath"] = side_of(shares[0], shares[-1], *_limits(seen))


def _finding(observed: tuple[float, float], gaps: tuple[float, float]) -> str:
    side = side_of(*observed, *gaps)
    if side == "alike":
        return "open" if observed[0] <= 0 <= observed[1] else "of_the_size"
    return "larger" if side == "above" else "smaller"


def _store_breath(out: ResultsBuilder, multiplier: float) -> None:
    """The published anchor, with what its own figures say of each other."""
    anchor = breath_hold()
    out.texts["race.source"] = anchor.source
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
