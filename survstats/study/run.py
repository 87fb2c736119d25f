"""Carries the agreed analysis out, in order; draws nothing and phrases nothing."""

from __future__ import annotations

import datetime
from collections.abc import Callable

from survstats.groundwork.errors import RecordsError, StudyFileError
from survstats.records.finding import Finding, sentence
from survstats.records.loading import Records
from survstats.records.population import refuse_absent_values, studied_mishaps
from survstats.study import agreed, annex, gaps
from survstats.study.everybody import Everybody, everybody
from survstats.study.judge import judge
from survstats.study.lock import lock
from survstats.study.plan import Study
from survstats.study.results import Audience, StudyResults
from survstats.study.results_builder import People, ResultsBuilder
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
        Called with a code as each step starts: ``reading``, ``checking``, ``counting``, ``estimating``, ``beside``,
        ``imputing``, ``challenging``, ``judging``, ``recency``, ``deciding``.
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
        the records do not have, ``changed_since_read`` or ``changed_during_run`` if what was agreed is changed
        meanwhile.
    """
    tell = progress or (lambda _code: None)
    out = ResultsBuilder()
    _refuse_no_model(study)
    locked = lock(study)
    tell("reading")
    records = read_records(study, locked)
    _refuse_no_outcomes(records)
    tell("checking")
    findings = find(records, study=study, today=today)
    refuse_errors(findings)
    refuse_absent_values(records, study.population)
    agreed.store_plan(out, study)
    agreed.store_provenance(out, study, records, locked)
    agreed.store_findings(out, findings, study.accepted)
    agreed.store_log(out, study, records, audience=audience, keep=keep_log)
    tell("counting")
    people = everybody(study, records)
    _store_gaps(out, study, records, people)
    found = judge(out, study, people, banners=out.lists["records.banners"], tell=tell)
    annex.store_annex(out, study, records, people, found, audience=audience, tell=tell)
    locked.refuse_changed(study)
    agreed.store_judged(out)
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


def _store_gaps(out: ResultsBuilder, study: Study, records: Records, people: Everybody) -> None:
    """What is known of every field, and how the mishaps that the study is about were coded."""
    mishaps = people.mishaps
    gaps.store_all(
        out,
        records,
        people.derived,
        study.covariates,
        studied=studied_mishaps(records.mishap, study.population),
        no_row=People(people.everyone.ledger.line("no_row").rows),
    )
    blind = mishaps["coded_blind"]
    out.count_mishaps("records.not_blind", mishaps["mishap_id"][blind.eq("no")])
    out.count_mishaps("records.blind_unknown", mishaps["mishap_id"][~blind.isin(["yes", "no"])])
