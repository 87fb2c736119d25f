"""Carries the agreed analysis out, in order; draws nothing and phrases nothing."""

from __future__ import annotations

import datetime
from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import RecordsError
from survstats.records.cohort import Cohort, build_cohort
from survstats.records.deriving import derive, studied_mishaps
from survstats.records.finding import Finding, sentence
from survstats.records.fingerprint import cohort_hash
from survstats.records.population import refuse_absent_values
from survstats.study import agreed, counting, estimating, gaps, judging
from survstats.study.judging import Found
from survstats.study.plan import Study
from survstats.study.results import Audience, ResultsBuilder, StudyResults
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
        ``bad_records`` with the first error and how many more there are.
    StudyFileError
        ``absent_value`` if the population names what the records do not have.
    """
    tell = progress or (lambda _code: None)
    out = ResultsBuilder()
    tell("reading")
    records = read_records(study)
    tell("checking")
    findings = find(records, study=study, today=today)
    refuse_errors(findings)
    refuse_absent_values(records, study.population)
    fingerprint = cohort_hash(records)
    agreed.store_plan(out, study)
    agreed.store_provenance(out, study, records, fingerprint=fingerprint)
    agreed.store_findings(out, findings, study.accepted)
    agreed.store_log(out, study, fingerprint, keep=keep_log)
    tell("counting")
    covariates = tuple(study.plan.model.covariates)
    derived = derive(
        records, currency_months=study.plan.question.currency_months, population=study.population
    )
    mishaps = records.mishap[studied_mishaps(records.mishap, study.population)]
    gaps.store_all(out, records, derived, mishaps, covariates)
    primary = build_cohort(derived, records, population="P1")
    passengers = build_cohort(derived, records, population="P1", passengers_only=True)
    everyone = build_cohort(derived, records, population="P2")
    labels = pd.Index(sorted(derived["mishap_id"].unique()))
    perhaps = counting.perhaps_counts(derived, labels)
    _store_counts(out, mishaps, derived, primary, everyone, labels=labels, perhaps=perhaps)
    tell("estimating")
    out.lists["plan.empty_covariates"] = [name for name in covariates if primary.analysed[name].isna().all()]
    main = estimating.store_main(out, primary.analysed, covariates)
    estimating.store_crude(out, primary.analysed)
    within = estimating.store_within(out, primary.analysed)
    tell("beside")
    without_role = tuple(name for name in covariates if name != "role")
    without_crew = estimating.store_beside(out, passengers.analysed, without_role, name="passengers")
    all_aboard = estimating.store_beside(out, everyone.analysed, covariates, name="all_aboard")
    out.lists["notices.gap_fields"] = [str(v["field"]) for code, v in out.notices if code == "gap_coded"]
    out.codes["brief.form"] = judging.form(out, mishaps, primary.analysed, estimated=main is not None)
    tell("judging")
    found = Found(main=main, passengers=without_crew, all_aboard=all_aboard, within=within)
    judging.store_verdict(
        out,
        judging.weigh(out, primary.frame, found, perhaps=perhaps, labels=labels),
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


def _store_counts(
    out: ResultsBuilder,
    mishaps: pd.DataFrame,
    derived: pd.DataFrame,
    primary: Cohort,
    everyone: Cohort,
    *,
    labels: pd.Index,
    perhaps: NDArray[np.float64],
) -> None:
    """Everything that is counted before anything is estimated."""
    counting.store_cohort(out, primary, prefix="cohort")
    counting.store_cohort(out, everyone, prefix="all_aboard")
    blind = mishaps["coded_blind"].eq("yes")
    out.count("records.not_blind", int((~blind).sum()))
    _store_span(out, derived[derived["in_p2"]])
    counting.store_seen(out, primary.frame)
    counts = counting.cell_counts(primary.frame, labels)
    counting.store_perhaps(out, derived)
    counting.store_unknown(out, counts, perhaps)
    counting.store_headline(out, counts)
    counting.store_exact(out, counts)


def _store_span(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    years = frame["event_date"].dt.year.dropna()
    if len(years):
        out.figure("span.first_year", years.min(), unit="year", method="counted")
        out.figure("span.last_year", years.max(), unit="year", method="counted")
    out.count("span.mishaps", frame["mishap_id"].nunique())
