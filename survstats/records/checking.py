"""Do the records agree with themselves? Every finding at once."""

from __future__ import annotations

import datetime

import numpy as np

from survstats.records.codebook import TableName, load_codebook
from survstats.records.finding import Finding
from survstats.records.loading import Records
from survstats.records.rules import Evidence, Rule, gather
from survstats.records.rules_mishap import MISHAP_RULES
from survstats.records.rules_occupant import OCCUPANT_RULES
from survstats.records.rules_study import STUDY_RULES

RULES: tuple[Rule, ...] = (*MISHAP_RULES, *OCCUPANT_RULES, *STUDY_RULES)
_TABLES: tuple[TableName, ...] = ("mishap", "occupant")
_WEIGHT = {"error": 0, "warning": 1, "statement": 2}


def check_records(records: Records, *, today: datetime.date) -> tuple[Finding, ...]:
    """All findings: those of reading, numbers outside the codebook's limits, and the consistency rules.

    Errors come first, then warnings, then statements; within each in file order.

    Parameters
    ----------
    records : Records
        Loaded records.
    today : date
        The day on which the check is made; a mishap after it is an error (R33).
    """
    evidence = gather(records, today=today)
    found = list(records.findings) + _outside_limits(evidence)
    for rule in RULES:
        found += [
            Finding(
                rule=rule.id,
                severity=hit.severity or rule.severity,
                file=records.files[hit.table],
                row=hit.row,
                field=hit.field,
                seen=hit.seen,
                expected=hit.expected,
                remedy=rule.remedy,
            )
            for hit in rule.find(evidence)
        ]
    files = list(records.files.values())
    return tuple(sorted(found, key=lambda f: (_WEIGHT[f.severity], files.index(f.file), f.row or 0)))


def _outside_limits(evidence: Evidence) -> list[Finding]:
    """Numbers outside the codebook's limits: R6 sea state, R8 water temperature, R10 times, F6 all others."""
    found = []
    for table in _TABLES:
        frame = evidence.mishap if table == "mishap" else evidence.occupant
        for field in load_codebook().table(table):
            if field.kind not in ("integer", "number"):
                continue
            low = -np.inf if field.minimum is None else field.minimum
            high = np.inf if field.maximum is None else field.maximum
            numbers = frame[field.name]
            no_end = field.open_ended & np.isinf(numbers)
            outside = (numbers < low) | ((numbers > high) & ~no_end)
            expected = f"{low:.10g} to {high:.10g}"
            if field.unit:
                expected += f" {field.unit}"
            if field.open_ended:
                expected += ", or inf"
            found += [
                Finding(
                    field.limit_rule,
                    "error",
                    evidence.records.files[table],
                    hit.row,
                    field.name,
                    hit.seen,
                    expected,
                    "correct the number or its unit",
                )
                for hit in evidence.where(table, outside, field.name, expected=expected)
            ]
    return found
