"""From the people to the word: the main estimate, what stands beside it, every doubt, the gates and the verdict."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from survstats.challenge.unknown_status import UnknownBounds
from survstats.challenge.verdict import Gate, Verdict
from survstats.effects.imputation import Imputed
from survstats.study import (
    beside,
    challenges_told,
    counting,
    doubting,
    estimating,
    flow,
    imputing,
    judging,
    verdict_told,
)
from survstats.study.doubting import Beside
from survstats.study.estimating import MainEstimate
from survstats.study.everybody import Everybody
from survstats.study.graph_told import held_equal
from survstats.study.plan import Study
from survstats.study.results_builder import ResultsBuilder
from survstats.study.within_told import store_within

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Found:
    """What a study found.

    Attributes
    ----------
    main : MainEstimate or None
    beside : Beside
    imputed : Imputed or None
        The completed sets of the primary population.
    gates : tuple of Gate
        All eight, in order.
    verdict : Verdict
    """

    main: MainEstimate | None
    beside: Beside
    imputed: Imputed | None
    gates: tuple[Gate, ...]
    verdict: Verdict


def judge(
    out: ResultsBuilder,
    study: Study,
    people: Everybody,
    *,
    banners: Sequence[str],
    whole: bool = True,
    tell: Tell | None = None,
) -> Found:
    """Estimate, doubt, weigh and say the word, in this order.

    Parameters
    ----------
    out : ResultsBuilder
        Where everything is stored by id.
    study : Study
        With what is adjusted for.
    people : Everybody
    banners : sequence of str
        The rules on who was trained and who lived that these records break, as the page says above its answer
        (``records.banners``); some of them keep gate 5 from being met.
    whole : bool, optional
        Without it nothing is made that no gate needs: the word is the same, the papers would lack numbers.
    tell : callable, optional
        Called with ``estimating``, ``beside``, ``imputing``, ``challenging`` and ``judging`` as those steps start.
    """
    tell = tell or (lambda _code: None)
    bounds = store_counts(out, people, whole=whole)
    analysed, covariates = people.primary.analysed, study.covariates
    tell("estimating")
    out.lists["plan.empty_covariates"] = [name for name in covariates if analysed[name].isna().all()]
    main = estimating.store_main(out, analysed, covariates, whole=whole)
    out.codes["brief.form"] = judging.form(out, people.mishaps, analysed, estimated=main is not None)
    tell("beside")
    others = store_beside(out, people, covariates, whole=whole)
    tell("imputing")
    imputed = _draw(out, study, people, main, whole=whole)
    tell("challenging")
    figures = doubting.doubt(out, study, people, main, others, imputed, bounds, banners=banners, whole=whole)
    rest = doubting.doubt_further(out, people, study.covariates, main, imputed) if whole else None
    tell("judging")
    gates = judging.weigh(out, people, figures)
    verdict = verdict_told.store_verdict(out, gates, figures)
    if rest is not None:
        challenges_told.store_challenges(out, gates, figures, rest)
    return Found(main, others, imputed, gates, verdict)


def store_counts(out: ResultsBuilder, people: Everybody, *, whole: bool = True) -> UnknownBounds | None:
    """Everything that is counted before anything is estimated; returns the range over the unknown."""
    derived, primary, everyone = people.derived, people.primary, people.everyone
    counting.store_cohort(out, primary, prefix="cohort")
    counts = counting.cell_counts(primary.frame, people.labels)
    if whole:
        counting.store_cohort(out, everyone, prefix="all_aboard")
        flow.store_flow(out, derived, primary, everyone)
        flow.store_crude_shares(out, primary.frame)
        counting.store_rows(out, derived)
        _store_span(out, derived[derived["in_p2"]])
    counting.store_seen(out, primary.frame)
    counting.store_perhaps(out, derived)
    bounds = counting.store_unknown(out, counts, people.perhaps)
    if whole:
        counting.store_headline(out, counts)
    counting.store_exact(out, counts)
    return bounds


def store_beside(
    out: ResultsBuilder, people: Everybody, covariates: Sequence[str], *, whole: bool = True
) -> Beside:
    """What stands beside the main estimate: crude numbers, within mishaps, passengers alone, everyone aboard."""
    analysed = people.primary.analysed
    if whole:
        beside.store_crude(out, analysed)
    within = store_within(out, analysed, covariates, whole=whole)
    without_role = tuple(name for name in covariates if name != "role")
    passengers = beside.store_population(out, people.passengers.analysed, without_role, name="passengers")
    among_all = held_equal(covariates, population="P2")
    out.lists["plan.adjusted_all_aboard"] = list(among_all)
    aboard = beside.store_population(out, people.everyone.analysed, among_all, name="all_aboard")
    out.lists["notices.gap_fields"] = [str(v["field"]) for code, v in out.notices if code == "gap_coded"]
    return Beside(passengers=passengers, all_aboard=aboard, within=within)


def _draw(
    out: ResultsBuilder, study: Study, people: Everybody, main: MainEstimate | None, *, whole: bool
) -> Imputed | None:
    """The completed sets; where nothing is unknown and nothing is printed they are not drawn."""
    if main is None:
        out.leave_out(out.absent["effect.rd"], *imputing.IDS)
        return None
    if not whole and not out.people["seen.unknown"]:
        told = [people.primary.frame[name] for name in study.covariates]
        if not any(one.isna().any() or one.astype(object).eq("unknown").any() for one in told):
            return None
    return imputing.draw_unknown(out, people.primary_in_order, study, whole=whole)


def _store_span(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    years = frame["event_date"].dt.year.dropna()
    if len(years):
        for name, year in (("first", years.min()), ("last", years.max())):
            out.figure(f"span.{name}_year", year, unit="year", method="counted", rests_on=("span.mishaps",))
    out.count_mishaps("span.mishaps", frame["mishap_id"].unique())
