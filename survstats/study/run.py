"""Carries the agreed analysis out, in order; draws nothing and phrases nothing."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence

import pandas as pd

from survstats.groundwork.errors import RecordsError, StudyFileError
from survstats.records.finding import Finding, sentence
from survstats.records.loading import Records
from survstats.records.population import refuse_absent_values, studied_mishaps
from survstats.study import agreed, annex, beside, counting, estimating, flow, gaps, judging
from survstats.study.estimating import MainEstimate
from survstats.study.everybody import Everybody, everybody
from survstats.study.graph_told import held_equal
from survstats.study.judging import Found
from survstats.study.plan import Study
from survstats.study.results import Audience, StudyResults
from survstats.study.results_builder import People, ResultsBuilder
from survstats.study.sharing import share
from survstats.study.steps import find, read_records
from survstats.study.within_told import store_within

Progress = Callable[[str], None]


def run(
    study: Study,
    *,
    audience: Audience = "board",
    progress: Progress | None = None,
    today: datetime.date | None = None,
    keep_log: bool = True,
) -> StudyResults:
    """Carry out a study.

    Parameters
    ----------
    study : Study
        From `survstats.study.plan.read_study`.
    audience : {"board", "sharing"}, optional
        For whom: whole counts for the board, or without small counts for passing on (`survstats.study.sharing`).
    progress : callable, optional
        Called with a code as each step starts: ``reading``, ``checking``, ``counting``, ``estimating``,
        ``beside``, ``recency``, ``imputing``, ``judging``.
    today : date, optional
        The day by which a date lies in the future.
    keep_log : bool, optional
        Whether the plan is entered in the run log of the study folder before anything is counted by outcome.

    Raises
    ------
    RecordsError
        ``no_outcomes`` if there is only a roster so far, ``bad_records`` with the first error and how many more there
        are.
    StudyFileError
        ``no_model`` if the study file does not say what is adjusted for, ``absent_value`` if its population names what
        the records do not have.
    """
    tell = progress or (lambda _code: None)
    out = ResultsBuilder()
    _refuse_no_model(study)
    tell("reading")
    records = read_records(study)
    _refuse_no_outcomes(records)
    tell("checking")
    findings = find(records, study=study, today=today)
    refuse_errors(findings)
    refuse_absent_values(records, study.population)
    agreed.store_plan(out, study)
    agreed.store_provenance(out, study, records)
    agreed.store_findings(out, findings, study.accepted)
    agreed.store_log(out, study, records, audience=audience, keep=keep_log)
    tell("counting")
    people = everybody(study, records)
    mishaps = _store_counts(out, study, records, people)
    tell("estimating")
    main = _store_main(out, people.primary.analysed, study.covariates)
    tell("beside")
    found = store_beside(out, people, study.covariates, main=main)
    annex.store_annex(out, study, people, main, found.passengers, audience=audience, tell=tell)
    out.codes["brief.form"] = judging.form(out, mishaps, people.primary.analysed, estimated=main is not None)
    tell("judging")
    judging.store_verdict(
        out,
        judging.weigh(out, people.primary.frame, found, perhaps=people.perhaps, labels=people.labels),
        worthwhile=study.plan.question.smallest_worthwhile_points / 100,
    )
    out.codes["paper.audience"] = "board"
    return share(out, limit=study.plan.sharing.smallest_cell) if audience == "sharing" else out.finish()


def refuse_errors(findings: tuple[Finding, ...]) -> None:
    """Stop if the records hold errors.

    Raises
    ------
    RecordsError
        ``bad_records``; the sentence names the first error and says how many more there are.
    """
    errors = [finding for finding in findings if finding.severity == "error"]
    if not errors:
        return
    more = f" {len(errors) - 1} more: 'survstats check' lists all." if len(errors) > 1 else ""
    raise RecordsError("bad_records", f"{sentence(errors[0])}{more}")


def _refuse_no_model(study: Study) -> None:
    if study.plan.model is None:
        raise StudyFileError(
            "no_model",
            "The study file does not say what the comparison is adjusted for.",
            'Agree on it and add the two lines: [model] and, below it, covariates = ["role", "operator_code"].',
        )


def _refuse_no_outcomes(records: Records) -> None:
    if records.outcomes_pending:
        raise RecordsError(
            "no_outcomes",
            "The records hold a roster but no outcomes yet, so nothing can be compared.",
            "Fill in the sheet occupant; until then 'survstats check' and 'survstats form' work.",
        )


def _store_counts(out: ResultsBuilder, study: Study, records: Records, people: Everybody) -> pd.DataFrame:
    """Everything that is counted before anything is estimated; returns the mishaps that the study is about."""
    derived, primary, everyone = people.derived, people.primary, people.everyone
    studied = studied_mishaps(records.mishap, study.population)
    no_row = People(everyone.ledger.line("no_row").rows)
    gaps.store_all(out, records, derived, study.covariates, studied=studied, no_row=no_row)
    counting.store_cohort(out, primary, prefix="cohort")
    counting.store_cohort(out, everyone, prefix="all_aboard")
    flow.store_flow(out, derived, primary, everyone)
    flow.store_crude_shares(out, primary.frame)
    counting.store_rows(out, derived)
    mishaps = records.mishap[studied]
    blind = mishaps["coded_blind"]
    out.count_mishaps("records.not_blind", mishaps["mishap_id"][blind.eq("no")])
    out.count_mishaps("records.blind_unknown", mishaps["mishap_id"][~blind.isin(["yes", "no"])])
    _store_span(out, derived[derived["in_p2"]])
    counting.store_seen(out, primary.frame)
    counts = counting.cell_counts(primary.frame, people.labels)
    counting.store_perhaps(out, derived)
    counting.store_unknown(out, counts, people.perhaps)
    counting.store_headline(out, counts)
    counting.store_exact(out, counts)
    return mishaps


def _store_main(
    out: ResultsBuilder, analysed: pd.DataFrame, covariates: Sequence[str]
) -> MainEstimate | None:
    """The number that decides, where it can be estimated."""
    out.lists["plan.empty_covariates"] = [name for name in covariates if analysed[name].isna().all()]
    return estimating.store_main(out, analysed, tuple(covariates))


def store_beside(
    out: ResultsBuilder, people: Everybody, covariates: Sequence[str], *, main: MainEstimate | None
) -> Found:
    """What stands beside it: the crude numbers, within mishaps, passengers alone, everyone aboard."""
    analysed = people.primary.analysed
    beside.store_crude(out, analysed)
    within = store_within(out, analysed, covariates)
    without_role = tuple(name for name in covariates if name != "role")
    passengers = beside.store_population(out, people.passengers.analysed, without_role, name="passengers")
    among_all = held_equal(covariates, population="P2")
    out.lists["plan.adjusted_all_aboard"] = list(among_all)
    aboard = beside.store_population(out, people.everyone.analysed, among_all, name="all_aboard")
    out.lists["notices.gap_fields"] = [str(v["field"]) for code, v in out.notices if code == "gap_coded"]
    return Found(main=main, passengers=passengers, all_aboard=aboard, within=within)


def _store_span(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    years = frame["event_date"].dt.year.dropna()
    if len(years):
        for name, year in (("first", years.min()), ("last", years.max())):
            out.figure(f"span.{name}_year", year, unit="year", method="counted", rests_on=("span.mishaps",))
    out.count_mishaps("span.mishaps", frame["mishap_id"].unique())
