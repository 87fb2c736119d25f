"""Carries the agreed analysis out, in order; draws nothing and phrases nothing."""

from __future__ import annotations

import datetime
from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.challenge.verdict import THRESHOLDS_FILE
from survstats.describe.missing import missing_by_outcome
from survstats.groundwork.errors import RecordsError
from survstats.groundwork.provenance import file_hash, versions
from survstats.records.checking import check_records
from survstats.records.cohort import Cohort, build_cohort
from survstats.records.deriving import derive
from survstats.records.finding import Finding, sentence
from survstats.records.loading import Records, read_records
from survstats.study import counting, estimating, judging
from survstats.study.judging import Found
from survstats.study.plan import Study
from survstats.study.results import ResultsBuilder, StudyResults, Table

Progress = Callable[[str], None]


def run(
    study: Study, *, progress: Progress | None = None, today: datetime.date | None = None
) -> StudyResults:
    """Carry out a study.

    Parameters
    ----------
    study : Study
        From `survstats.study.plan.read_study`.
    progress : callable, optional
        Called with a code as each step starts: ``reading``, ``checking``, ``counting``, ``estimating``,
        ``beside``, ``judging``.
    today : date, optional
        The day by which a date lies in the future.

    Raises
    ------
    RecordsError
        ``bad_records`` with the first error and how many more there are.
    """
    tell = progress or (lambda _code: None)
    out = ResultsBuilder()
    tell("reading")
    records = read_records(study.mishap_path, study.occupant_path)
    tell("checking")
    findings = check_records(records, today=today or datetime.date.today())
    refuse_errors(findings)
    _store_plan(out, study, records, findings)
    tell("counting")
    derived = derive(records, currency_months=study.plan.question.currency_months)
    primary = build_cohort(derived, records, population="P1")
    passengers = build_cohort(derived, records, population="P1", passengers_only=True)
    everyone = build_cohort(derived, records, population="P2")
    labels = pd.Index(sorted(derived["mishap_id"].unique()))
    perhaps = counting.perhaps_counts(derived, labels)
    _store_counts(out, records, derived, primary, everyone, labels=labels, perhaps=perhaps)
    tell("estimating")
    covariates = tuple(study.plan.model.covariates)
    out.lists["plan.empty_covariates"] = [name for name in covariates if primary.analysed[name].isna().all()]
    main = estimating.store_main(out, primary.analysed, covariates)
    estimating.store_crude(out, primary.analysed)
    within = estimating.store_within(out, primary.analysed)
    tell("beside")
    without_role = tuple(name for name in covariates if name != "role")
    without_crew = estimating.store_beside(out, passengers.analysed, without_role, name="passengers")
    all_aboard = estimating.store_beside(out, everyone.analysed, covariates, name="all_aboard")
    out.lists["notices.gap_fields"] = [str(v["field"]) for code, v in out.notices if code == "gap_coded"]
    out.codes["brief.form"] = judging.form(out, records, primary.analysed, estimated=main is not None)
    tell("judging")
    found = Found(main=main, passengers=without_crew, all_aboard=all_aboard, within=within)
    judging.store_verdict(
        out,
        judging.weigh(out, primary.frame, found, perhaps=perhaps, labels=labels),
        worthwhile=study.plan.question.smallest_worthwhile_points / 100,
    )
    return out.finish()


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
    records: Records,
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
    blind = records.mishap["coded_blind"].eq("yes")
    out.count("records.not_blind", int((~blind).sum()))
    _store_span(out, derived[derived["in_p2"]])
    counting.store_seen(out, primary.frame)
    counts = counting.cell_counts(primary.frame, labels)
    counting.store_unknown(out, counts, perhaps)
    counting.store_headline(out, counts)
    counting.store_exact(out, counts)
    out.tables["missing"] = _table(missing_by_outcome(records, derived))


def _store_plan(out: ResultsBuilder, study: Study, records: Records, findings: tuple[Finding, ...]) -> None:
    plan = study.plan
    out.texts |= {
        "study.title": plan.title,
        "study.place": plan.place,
        "study.prepared_by": plan.paper.prepared_by,
        "study.reviewed_by": plan.paper.reviewed_by,
        "study.funding": plan.paper.funding,
    }
    out.codes["study.invented"] = "yes" if plan.invented else "no"
    months, points = plan.question.currency_months, plan.question.smallest_worthwhile_points
    out.figure("plan.currency_months", months, unit="months", method="study_file")
    out.figure("plan.smallest_worthwhile", points / 100, unit="difference", method="study_file")
    out.lists["plan.covariates"] = list(plan.model.covariates)
    out.tables["findings"] = Table(
        ("rule", "severity", "file", "row", "field", "seen", "expected", "remedy"),
        tuple((f.rule, f.severity, f.file, f.row, f.field, f.seen, f.expected, f.remedy) for f in findings),
    )
    warned = {finding.rule for finding in findings if finding.severity == "warning"}
    out.lists["records.warnings"] = sorted(warned)
    out.provenance |= {
        "study_file": study.plan_hash,
        "verdict_thresholds": file_hash(THRESHOLDS_FILE),
        "mishap_file": records.hashes["mishap"],
        "occupant_file": records.hashes["occupant"],
        "seed": str(plan.run.seed),
    } | {f"version.{name}": version for name, version in versions().items()}


def _store_span(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    years = frame["event_date"].dt.year.dropna()
    if len(years):
        out.figure("span.first_year", years.min(), unit="year", method="counted")
        out.figure("span.last_year", years.max(), unit="year", method="counted")
    out.count("span.mishaps", frame["mishap_id"].nunique())


def _table(frame: pd.DataFrame) -> Table:
    return Table(tuple(frame.columns), tuple(tuple(row) for row in frame.astype(object).to_numpy().tolist()))
