"""Carries the agreed analysis out, in order; draws nothing and phrases nothing."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import RecordsError, StudyFileError
from survstats.records.cohort import Cohort, build_cohort
from survstats.records.deriving import derive
from survstats.records.finding import Finding, sentence
from survstats.records.loading import Records
from survstats.records.population import refuse_absent_values, studied_mishaps
from survstats.study import agreed, counting, estimating, gaps, judging
from survstats.study.estimating import MainEstimate
from survstats.study.judging import Found
from survstats.study.plan import Study
from survstats.study.results import Audience, People, ResultsBuilder, StudyResults
from survstats.study.sharing import share
from survstats.study.steps import find, read_records

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
        ``beside``, ``judging``.
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
    people = _everyone(study, records)
    mishaps = _store_counts(out, study, records, people)
    tell("estimating")
    main = _store_main(out, people.primary.analysed, study.covariates)
    tell("beside")
    found = _store_beside(out, people, study.covariates, main=main)
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


@dataclass(frozen=True)
class _People:
    """Everyone in the records, as derived, and the populations that are compared.

    ``labels`` are the mishaps in order, ``perhaps`` who of each may stand in which group (see `counting`).
    """

    derived: pd.DataFrame
    primary: Cohort
    passengers: Cohort
    everyone: Cohort
    labels: pd.Index
    perhaps: NDArray[np.float64]


def _everyone(study: Study, records: Records) -> _People:
    chosen = study.population
    derived = derive(records, currency_months=study.plan.question.currency_months, population=chosen)
    labels = pd.Index(sorted(derived["mishap_id"].unique()))
    return _People(
        derived=derived,
        primary=build_cohort(derived, records, population="P1", chosen=chosen),
        passengers=build_cohort(derived, records, population="P1", passengers_only=True, chosen=chosen),
        everyone=build_cohort(derived, records, population="P2", chosen=chosen),
        labels=labels,
        perhaps=counting.perhaps_counts(derived, labels),
    )


def _store_counts(out: ResultsBuilder, study: Study, records: Records, people: _People) -> pd.DataFrame:
    """Everything that is counted before anything is estimated; returns the mishaps that the study is about."""
    derived, primary, everyone = people.derived, people.primary, people.everyone
    studied = studied_mishaps(records.mishap, study.population)
    no_row = People(everyone.ledger.line("no_row").rows)
    gaps.store_all(out, records, derived, study.covariates, studied=studied, no_row=no_row)
    counting.store_cohort(out, primary, prefix="cohort")
    counting.store_cohort(out, everyone, prefix="all_aboard")
    mishaps = records.mishap[studied]
    blind = mishaps["coded_blind"]
    out.count("records.not_blind", int(blind.eq("no").sum()))
    out.count("records.blind_unknown", int((~blind.isin(["yes", "no"])).sum()))
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


def _store_beside(
    out: ResultsBuilder, people: _People, covariates: Sequence[str], *, main: MainEstimate | None
) -> Found:
    """What stands beside it: the crude numbers, within mishaps, passengers alone, everyone aboard."""
    analysed = people.primary.analysed
    estimating.store_crude(out, analysed)
    within = estimating.store_within(out, analysed)
    without_role = tuple(name for name in covariates if name != "role")
    passengers = estimating.store_beside(out, people.passengers.analysed, without_role, name="passengers")
    aboard = estimating.store_beside(out, people.everyone.analysed, tuple(covariates), name="all_aboard")
    out.lists["notices.gap_fields"] = [str(v["field"]) for code, v in out.notices if code == "gap_coded"]
    return Found(main=main, passengers=passengers, all_aboard=aboard, within=within)


def _store_span(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    years = frame["event_date"].dt.year.dropna()
    if len(years):
        out.figure("span.first_year", years.min(), unit="year", method="counted")
        out.figure("span.last_year", years.max(), unit="year", method="counted")
    out.count("span.mishaps", frame["mishap_id"].nunique())
