"""The decision, by id: how far the verdict lets it be told, what each policy comes to, what would have to be true."""

from __future__ import annotations

from survstats.decision.deaths import share_cut
from survstats.decision.draw_worlds import assumed_gain
from survstats.groundwork.errors import NotEstimable
from survstats.study.budget_choice import store_break_evens, store_choice, store_swings
from survstats.study.budget_inputs import (
    EXPOSURE_IDS,
    over_worlds,
    policies,
    store_exposure,
    store_given,
)
from survstats.study.budget_policies import Told, store_lives, store_money, store_would_have_to
from survstats.study.budget_worlds import (
    AT_RISK,
    Drawing,
    draw,
    store_gain,
    store_groups,
    store_worlds,
)
from survstats.study.counting import COMPARED
from survstats.study.decision_plan import DecisionPlan
from survstats.study.everybody import Everybody
from survstats.study.interval_told import IDS as INTERVAL_IDS
from survstats.study.interval_told import store_interval
from survstats.study.judge import Found
from survstats.study.matrix_told import IDS as MATRIX_IDS
from survstats.study.matrix_told import store_matrix
from survstats.study.plan import Study
from survstats.study.pool_told import store_pool
from survstats.study.results import MASKED, Audience
from survstats.study.results_builder import ResultsBuilder
from survstats.study.whom_told import IDS as WHOM_IDS
from survstats.study.whom_told import store_whom

#: What needs a gain that the records carry.
LIVES_IDS = (
    *("budget.lives_per_year", "budget.cost_per_life", "budget.years_per_life", "budget.deaths_a_year"),
    *("budget.chance_lives_lost", "budget.evpi", "acceptability", "evpi"),
)
#: What needs every figure, and people in the records.
WORLD_IDS = ("budget.at_risk", "budget.mean_held", "budget.capped", "budget_if", "budget_gain")
TABLE_IDS = ("budget_groups", "swings", "worlds", "worlds_months")
IDS = (*LIVES_IDS, *WORLD_IDS, *TABLE_IDS, *EXPOSURE_IDS, *INTERVAL_IDS, *WHOM_IDS, *MATRIX_IDS, "pool")

#: Differences for which it is told what would have to be true, in units of the smallest worth having.
MULTIPLES = (-1, 0, 1, 2, 3)
#: Share of worlds from which on it is said on page 1 that the effect was cut back (common practice, no source).
OFTEN_CUT = 0.1


def store_budget(
    out: ResultsBuilder, study: Study, people: Everybody, found: Found, *, audience: Audience
) -> None:
    """Everything on the decision, as far as the word lets it be told.

    The code ``budget.form`` is ``not_asked`` without a decision in the study file, ``inputs_missing`` where a figure is
    not given, ``not_drawn`` where the records are too thin to tell who is aboard, ``would_have_to`` where the word is
    that one cannot tell or there is no main estimate, else ``lean`` or ``recommend``. Under ``would_have_to`` no lives
    are told from the estimate: what hangs on a gain is told for the smallest difference worth having.

    Parameters
    ----------
    out : ResultsBuilder
    study : Study
    people : Everybody
    found : Found
    audience : {"board", "sharing"}
        Nothing of the decision is made for sharing: it counts the same people by seats and roles.
    """
    decision = study.plan.decision
    if decision is None:
        _without(out, "not_asked")
        return
    if audience == "sharing":
        _without(out, MASKED)
        return
    store_given(out, decision)
    _store_rests(out, decision)
    if decision.missing:
        _without(out, "inputs_missing")
        return
    try:
        drawing = draw(study, decision, people, found.main)
    except NotEstimable as fault:
        out.codes["budget.missing_effect"] = fault.reason
        _without(out, fault.reason, form="not_drawn")
        return
    form = _form(found)
    out.codes["budget.form"] = form
    out.codes["budget.direction"] = found.verdict.direction
    if found.main is None:
        out.codes["budget.missing_effect"] = out.absent["effect.rd"]
    _store_drawn(out, decision, drawing, carried=form != "would_have_to")
    _store_told(out, study, decision, drawing, form=form)
    if (cut := out.numbers.get("budget.capped")) is not None:
        out.codes["budget.cut_back"] = "often" if cut.value > OFTEN_CUT else "seldom"


def _without(out: ResultsBuilder, reason: str, *, form: str = "") -> None:
    out.codes["budget.form"] = form or reason
    out.leave_out(reason, *IDS)


def _form(found: Found) -> str:
    if found.main is None or found.verdict.word == "cannot_tell":
        return "would_have_to"
    return "recommend" if found.verdict.word == "supports" else "lean"


def _store_rests(out: ResultsBuilder, decision: DecisionPlan) -> None:
    """Which parts rest on mishap records, on trainer runs and on figures that are given, and which nobody measured."""
    given = ["exposure", "hours", "people", "leavers_a_year", "half_life", "costs", "course_harm"]
    given += ["spends"] if decision.spend else []
    given += ["value_of_life"] if decision.inputs.value_of_life is not None else []
    out.lists["budget.rests.records"] = ["aboard", "at_risk", "survival", "held"]
    out.lists["budget.rests.runs"] = []
    out.lists["budget.rests.given"] = given
    out.lists["budget.rests.assumed"] = [
        name for name, _, figure in decision.given() if figure.quality != "measured"
    ]


def _store_drawn(out: ResultsBuilder, decision: DecisionPlan, drawing: Drawing, *, carried: bool) -> None:
    """What the worlds themselves say: exposure, people at risk, how much of the gain the trained still held."""
    drawn = drawing.drawn
    store_exposure(out, decision, drawn.worlds.mishaps_a_year)
    store_groups(out, drawing)
    out.number("budget.at_risk", over_worlds(drawn.worlds.at_risk.sum(axis=1), "people"), rests_on=AT_RISK)
    if drawing.dated:
        out.number("budget.mean_held", over_worlds(drawn.mean_held, "share"), rests_on=COMPARED)
    else:
        out.leave_out("too_few_dated", "budget.mean_held")
        out.lists["budget.rests.records"].remove("held")
    if carried:
        store_gain(out, drawing)
        out.lists["budget.rests.records"].insert(0, "gain")
        chosen = policies(decision)
        today = next(one for one in chosen if one.name == decision.today)
        cut = share_cut(drawn.worlds, chosen, today=today)
        out.figure("budget.capped", cut, unit="share", method="plausible_worlds", rests_on=COMPARED)
    else:
        out.leave_out("cannot_tell", "budget.capped", "budget_gain")
    store_worlds(out, drawn, carried=carried, rests_on=(*COMPARED, *AT_RISK))


def _own(out: ResultsBuilder, smallest: float) -> float | None:
    """The records' own estimate, where it lies outside the differences that are told anyway."""
    estimate = out.numbers["effect.rd"].value
    within = min(MULTIPLES) * smallest <= estimate <= max(MULTIPLES) * smallest
    return None if within else estimate


def _store_told(
    out: ResultsBuilder, study: Study, decision: DecisionPlan, drawing: Drawing, *, form: str
) -> None:
    drawn, smallest = drawing.drawn, study.plan.question.smallest_worthwhile_points / 100
    points = smallest if form == "would_have_to" else None
    own = _own(out, smallest) if points is None else None
    shown = sorted([*(many * smallest for many in MULTIPLES), *([] if own is None else [own])])
    assumed = [(one, assumed_gain(drawn.worlds, one)) for one in shown]
    worlds = drawn.worlds if points is None else dict(assumed)[smallest]
    chosen = policies(decision)
    value = decision.inputs.value_of_life
    told = Told(
        worlds=worlds,
        policies=chosen,
        today=[one.name for one in chosen].index(decision.today),
        value=None if value is None else value.value,
        rests_on=(*COMPARED, *AT_RISK) if points is None else AT_RISK,
    )
    outcomes = told.outcomes()
    rates = [rate / 100 for rate in decision.discount_percent]
    store_money(out, told, outcomes, rates, decision.years)
    store_would_have_to(out, told, assumed, own=own)
    store_break_evens(out, told, outcomes)
    if points is None:
        store_lives(out, told, outcomes, rates, decision.years)
        store_choice(out, told, outcomes)
    else:
        out.figure("budget.points", points, unit="difference", method="study_file")
        out.leave_out("cannot_tell", *LIVES_IDS)
    store_swings(out, told, assumed=points is not None)
    for store in (store_interval, store_whom, store_pool, store_matrix):
        store(out, decision, worlds, chosen, form, points=points, rests_on=told.rests_on)
