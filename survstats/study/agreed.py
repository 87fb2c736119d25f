"""What was agreed, and what the checks of the records found, by id."""

from __future__ import annotations

import json
from collections.abc import Sequence

from survstats.groundwork.provenance import bytes_hash, seal, versions
from survstats.records.finding import Finding
from survstats.records.fingerprint import cohort_hash
from survstats.records.loading import Records
from survstats.records.rules.rulebook import BANNERS, RULEBOOK
from survstats.study.lock import Lock
from survstats.study.plan import Study
from survstats.study.results import Audience, Table
from survstats.study.results_builder import ResultsBuilder
from survstats.study.run_log import LogEntry, log_run


def store_plan(out: ResultsBuilder, study: Study) -> None:
    """The question, the population and the names of the study file."""
    plan, population = study.plan, study.plan.population
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
    out.lists["plan.covariates"] = list(study.covariates)
    out.lists["plan.modifiers"] = list(study.modifiers)
    out.lists["plan.challenge_softer"] = list(plan.challenge.softer)
    if plan.model is not None and plan.model.cold_water_c is not None:
        out.figure("plan.cold_water", plan.model.cold_water_c, unit="celsius", method="study_file")
    for name, year in (("first_year", population.first_year), ("last_year", population.last_year)):
        if year is not None:
            out.figure(f"population.{name}", year, unit="year", method="study_file")
    for name in ("classes", "operators", "roles"):
        out.lists[f"population.{name}"] = list(getattr(population, name))


def store_provenance(out: ResultsBuilder, study: Study, records: Records, lock: Lock) -> None:
    """Which files, which plan, which versions; and the seals of locking and of reading the records."""
    fingerprint = cohort_hash(records)
    out.provenance |= {
        "study_file": lock.plan_hash,
        "plan": lock.analysis_hash,
        "records": fingerprint,
        "verdict_thresholds": lock.thresholds_hash,
        "choices": lock.choices_hash,
        "seal.locked": lock.seal,
        "seal.outcomes_read": seal(lock.seal, "outcomes_read", {"records": fingerprint}),
        "seed": str(study.plan.run.seed),
    }
    out.texts |= {f"records.{table}_file": name for table, name in records.files.items()}
    out.provenance |= {f"{table}_file": digest for table, digest in records.hashes.items()}
    if study.mapping is not None:
        out.provenance["mapping_file"] = bytes_hash(study.mapping)
        out.texts["records.mapping_checked_by"] = str(study.mapping_content["checked_by"])
    out.provenance |= {f"version.{name}": version for name, version in versions().items()}


def store_judged(out: ResultsBuilder) -> None:
    """The seal of judging: over the word, the gates, and the seal of reading the records."""
    judged = {name: code for name, code in out.codes.items() if name.startswith(("verdict.", "gate."))}
    told = bytes_hash(json.dumps(judged, sort_keys=True).encode())
    out.provenance["verdict"] = told
    out.provenance["seal.judged"] = seal(out.provenance["seal.outcomes_read"], "judged", {"verdict": told})


def store_findings(out: ResultsBuilder, findings: Sequence[Finding], accepted: dict[str, str]) -> None:
    """Every finding, how many there are by rule, and what the study lets stand, with the reason."""
    out.tables["findings"] = Table(
        ("rule", "severity", "file", "row", "field", "seen", "expected", "remedy"),
        tuple((f.rule, f.severity, f.file, f.row, f.field, f.seen, f.expected, f.remedy) for f in findings),
    )
    counts: dict[tuple[str, str], int] = {}
    for finding in findings:
        kind = finding.rule, finding.severity
        counts[kind] = counts.get(kind, 0) + 1
    out.tables["findings_by_rule"] = Table(
        ("rule", "severity", "title", "findings", "remedy"),
        tuple(
            (rule, severity, RULEBOOK[rule].title, number, RULEBOOK[rule].remedy)
            for (rule, severity), number in counts.items()
        ),
    )
    standing = [rule for rule in accepted if (rule, "accepted") in counts]
    out.lists["records.accepted"] = standing
    out.tables["accepted"] = Table(
        ("rule", "title", "findings", "reason"),
        tuple((rule, RULEBOOK[rule].title, counts[rule, "accepted"], accepted[rule]) for rule in standing),
    )
    out.lists["records.warnings"] = sorted({f.rule for f in findings if f.severity == "warning"})
    out.lists["records.banners"] = [rule for rule in BANNERS if (rule, "warning") in counts]


def store_log(out: ResultsBuilder, study: Study, records: Records, *, audience: Audience, keep: bool) -> None:
    """Enter the plan in the study's log, and store what the log says of it.

    Records are the same to the log where the tables that the analysis reads are the same.
    """
    entry = LogEntry("not_kept")
    if keep:
        entry = log_run(
            study.folder,
            plan=study.analysis_hash,
            records=cohort_hash(records, tables=("mishap", "occupant")),
            smallest_cell=study.plan.sharing.smallest_cell if audience == "sharing" else None,
        )
    out.codes["log.state"] = entry.state
    for name in ("plan_number", "plans_here", "plans", "states", "shared"):
        number = getattr(entry, name)
        if number is not None:
            out.count(f"log.{name}", number)
