"""What others' publications say beside these records, by id; the own data stand first and alone."""

from __future__ import annotations

import math
from collections.abc import Sequence

from survstats.challenge.survivor_only import difference_range
from survstats.challenge.verdict import Interval
from survstats.decision.lifted_word import Direction, Others, Own, lift
from survstats.decision.mixture_prior import WEIGHT, Mixture, Normal, combine
from survstats.decision.other_evidence import FEWEST_POOLED, Pooled, Used, pool_used, sort_out
from survstats.effects.intervals import normal_quantile
from survstats.groundwork.estimate import Estimate
from survstats.study.counting import COMPARED
from survstats.study.evidence_plan import OtherStudyPlan
from survstats.study.judge import Found
from survstats.study.plan import Study
from survstats.study.results import Cell, Number
from survstats.study.results_builder import ResultsBuilder, number_of

_HALF = 0.5
#: Beside the trust that the paper leads with, so that the reader sees what hangs on it.
TRUSTS = {"posterior": WEIGHT, "posterior_half": _HALF}
_POOLED_IDS = ("evidence.rr_death", "evidence.prediction", "evidence.spread", "evidence.heterogeneity")
_OWN_IDS = (
    "evidence.own",
    *(f"evidence.{name}" for name in TRUSTS),
    "evidence.trust_before",
    "evidence.trust_after",
)
_COUNT_IDS = tuple(f"evidence.{name}" for name in ("given", "pooled", "survivor_only", "left_out", "people"))
IDS = (*_COUNT_IDS, *_POOLED_IDS, *_OWN_IDS, "evidence")
COLUMNS = (
    *("name", "source", "population", "currency", "overlap", "risk_of_bias", "use", "corrected", "strata"),
    *("trained", "trained_died", "untrained", "untrained_died", "rr", "rr_low", "rr_high"),
    *("rd", "rd_low", "rd_high", "weight"),
)


def store_evidence(out: ResultsBuilder, study: Study, found: Found) -> None:
    """The publications of the study file, put together where they are enough, and how far they lift the word.

    Parameters
    ----------
    out : ResultsBuilder
    study : Study
    found : Found
        Whose own ratio of deaths and verdict stand beside them, and stay as they are.
    """
    plans = study.plan.other_study
    if not plans:
        out.codes["evidence.form"] = "not_given"
        out.leave_out("not_asked", *IDS)
        return
    used = sort_out([one.publication for one in plans])
    pooled = None
    with out.or_absent(*_POOLED_IDS):
        pooled = pool_used(used)
    out.codes["evidence.form"] = "listed" if pooled is None else "pooled"
    _store_counts(out, used)
    _store_table(out, plans, used, pooled)
    if pooled is not None:
        _store_pooled(out, pooled)
    _store_with_own(out, found, pooled)
    _store_word(out, study, found, used, pooled)


def _store_counts(out: ResultsBuilder, used: Sequence[Used]) -> None:
    for name, value in (
        ("given", len(used)),
        ("pooled", sum(one.use == "pooled" for one in used)),
        ("survivor_only", sum(one.use == "survivor_only" for one in used)),
        ("left_out", sum(one.use in ("same_mishaps", "other_report") for one in used)),
        ("people", sum(one.publication.people for one in used if one.use == "pooled")),
        ("fewest", FEWEST_POOLED),
    ):
        out.figure(f"evidence.{name}", value, unit="count", method="study_file")


def _store_pooled(out: ResultsBuilder, pooled: Pooled) -> None:
    out.number("evidence.rr_death", number_of(pooled.death_ratio))
    out.number("evidence.prediction", number_of(pooled.further))
    out.figure("evidence.spread", math.sqrt(pooled.tau2), unit="log_ratio", method="paule_mandel")
    out.figure("evidence.heterogeneity", pooled.heterogeneity, unit="share", method="i_squared")


def _store_table(
    out: ResultsBuilder, plans: Sequence[OtherStudyPlan], used: Sequence[Used], pooled: Pooled | None
) -> None:
    weights = iter(() if pooled is None else pooled.weights)
    rows: list[tuple[Cell, ...]] = []
    for plan, one in zip(plans, used, strict=True):
        weight = float(next(weights)) if pooled is not None and one.use == "pooled" else None
        rows.append(_row(plan, one, weight))
    out.table("evidence", COLUMNS, rows)


def _row(plan: OtherStudyPlan, one: Used, weight: float | None) -> tuple[Cell, ...]:
    told = (plan.name, plan.source, plan.population, plan.currency, plan.overlap, plan.risk_of_bias, one.use)
    how = ("yes" if one.corrected else "no", len(plan.stratum) or 1)
    strata = one.publication.strata
    counts: tuple[Cell, ...] = tuple(
        round(sum(getattr(table, name) for table in strata)) if strata else None
        for name in ("trained", "trained_died", "untrained", "untrained_died")
    )
    if not strata:  # survivors alone were asked: a range is all that follows
        low, high = _range(plan)
        return (*told, *how, *counts, None, None, None, None, low, high, None)
    ratio, difference = (
        (None, None) if one.together is None else (one.together.death_ratio, one.together.survival_difference)
    )
    return (*told, *how, *counts, *_three(ratio), *_three(difference), weight)


def _range(plan: OtherStudyPlan) -> tuple[float, float]:
    """The difference in survival that survivors' training allows, whatever the training of the dead."""
    trained, untrained = plan.trained_lived or 0, plan.untrained_lived or 0
    lived = trained + untrained
    share = trained / lived
    return difference_range(lived, plan.died or 0, of_survivors=(share, share))


def _three(found: Estimate | None) -> tuple[Cell, ...]:
    return (None, None, None) if found is None else (found.value, found.low, found.high)


# ---- beside the own data -------------------------------------------------------------------------


def _store_with_own(out: ResultsBuilder, found: Found, pooled: Pooled | None) -> None:
    """The own ratio of deaths, and what it becomes with the others weighed in."""
    if found.main is None or pooled is None:
        reason = out.absent.get("effect.rd", "too_few_studies") if found.main is None else "too_few_studies"
        out.leave_out(reason, *_OWN_IDS)
        return
    own = found.main.effect.death_ratio
    if not (math.isfinite(own.se) and own.low > 0 and math.isfinite(own.high)):
        out.leave_out("own_unbounded", *_OWN_IDS)
        return
    others = _as_normal(pooled.further)
    out.estimate("evidence.own", own, rests_on=COMPARED)
    for name, weight in TRUSTS.items():
        after = combine(math.log(own.value), own.se, others=others, weight=weight)
        out.number(f"evidence.{name}", _ratio_of(after), rests_on=COMPARED)
        if weight == WEIGHT:
            out.figure("evidence.trust_before", weight, unit="share", method="rule")
            out.figure(
                "evidence.trust_after", after.weight, unit="share", method="mixture", rests_on=COMPARED
            )


def _as_normal(further: Estimate) -> Normal:
    """The prediction interval as a normal distribution that is as wide: few publications are trusted less for it."""
    reach = math.log(further.high) - math.log(further.value)
    return Normal(math.log(further.value), reach / normal_quantile(further.level))


def _ratio_of(after: Mixture) -> Number:
    low, high = after.limits()
    return Number(
        value=math.exp(after.quantile(_HALF)),
        unit="ratio",
        method="mixture",
        low=math.exp(low),
        high=math.exp(high),
        level=0.95,
    )


def _store_word(
    out: ResultsBuilder, study: Study, found: Found, used: Sequence[Used], pooled: Pooled | None
) -> None:
    seen = next(gate.state for gate in found.gates if gate.name == "seen")
    whole = [one for one in used if one.use == "pooled"]
    others = Others(
        pooled=len(whole),
        any_high=any(one.publication.risk_of_bias == "high" for one in whole),
        direction="none" if pooled is None else _direction_of(pooled.death_ratio),
    )
    inside = _inside(found, study.plan.question.smallest_worthwhile_points / 100)
    own = Own(found.verdict.word, seen, _own_direction(found), inside=inside)
    word, why = lift(own, others, fewest=FEWEST_POOLED)
    out.codes["evidence.word"], out.codes["evidence.lift"] = word, why
    out.codes["evidence.direction"] = others.direction


def _direction_of(ratio: Estimate) -> Direction:
    """Fewer deaths among the trained are a benefit."""
    if not ratio.excludes(1.0):
        return "none"
    return "benefit" if ratio.high < 1 else "harm"


def _own_direction(found: Found) -> Direction:
    if found.main is None or found.main.effect.difference.value == 0:
        return "none"
    return "benefit" if found.main.effect.difference.value > 0 else "harm"


def _inside(found: Found, worthwhile: float) -> bool:
    """Whether the whole own interval is smaller, either way, than what is worth having."""
    if found.main is None:
        return False
    difference = found.main.effect.difference
    return Interval(difference.low, difference.high, worthwhile).rule == "inside"
