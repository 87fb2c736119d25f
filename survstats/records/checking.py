"""Do the records agree with themselves? Every finding at once."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import replace

from survstats.groundwork.errors import CallError
from survstats.records.finding import Finding
from survstats.records.loading import Records
from survstats.records.population import EVERYBODY, PopulationFilter
from survstats.records.rules.field_schema import outside
from survstats.records.rules.mishap import MISHAP_RULES
from survstats.records.rules.occupant import OCCUPANT_RULES
from survstats.records.rules.rescue import RESCUE_RULES
from survstats.records.rules.rule import Hit, Rule, gather
from survstats.records.rules.rulebook import RULEBOOK
from survstats.records.rules.study import STUDY_RULES
from survstats.records.rules.trainer import TRAINER_RULES

RULES: tuple[Rule, ...] = (*MISHAP_RULES, *OCCUPANT_RULES, *RESCUE_RULES, *STUDY_RULES, *TRAINER_RULES)
_WEIGHT = {"error": 0, "warning": 1, "accepted": 2, "statement": 3}


def check_records(
    records: Records,
    *,
    today: datetime.date,
    cabins: Mapping[str, int] | None = None,
    accepted: Mapping[str, str] | None = None,
    population: PopulationFilter = EVERYBODY,
) -> tuple[Finding, ...]:
    """All findings: those of reading, fields outside the codebook's limits, and the consistency rules.

    Errors come first, then warnings, accepted findings and statements; within each in file order.

    Parameters
    ----------
    records : Records
        Loaded records.
    today : date
        The day on which the check is made; a mishap or a run after it is an error (R33, T6).
    cabins : mapping of str to int, optional
        Seat rows by aircraft class (R35); a class that is not in it has any row.
    accepted : mapping of str to str, optional
        Rules that may stand, each with the reason; their findings weigh "accepted" and give it as the remedy.
    population : PopulationFilter, optional
        Whom the study is about; rules about a whole study (R36 to R41, R44, R45) look at nobody else.

    Raises
    ------
    CallError
        ``not_acceptable`` where a rule is to be accepted that is none, or that cannot be.
    """
    accepted = accepted or {}
    for id_ in accepted:
        if id_ not in RULEBOOK or not RULEBOOK[id_].acceptable:
            raise CallError("not_acceptable", f"The rule {id_} cannot be accepted.")
    evidence = gather(records, today=today, cabins=cabins or {}, population=population)
    found = list(records.findings)
    found += _findings(records, outside(records))
    for rule in RULES:
        found += _findings(records, ((rule.id, hit) for hit in rule.find(evidence)))
    found = [
        replace(f, severity="accepted", remedy=accepted[f.rule])
        if f.rule in accepted and f.severity in ("error", "warning")
        else f
        for f in found
    ]
    place = {
        file: i for i, file in enumerate(dict.fromkeys([*records.files.values(), *(f.file for f in found)]))
    }
    return tuple(sorted(found, key=lambda f: (_WEIGHT[f.severity], place[f.file], f.row or 0)))


def _findings(records: Records, hits: Iterable[tuple[str, Hit]]) -> list[Finding]:
    found = []
    for rule, hit in hits:
        file, row, field = records.files[hit.table], None, hit.field
        if hit.at is not None:
            file, row, column, _ = records.place(hit.table, hit.field, hit.at)
            if column != hit.field:
                field = f"{hit.field} ({column})"
        elif hit.field in records.sources.get(hit.table, {}):
            file = records.sources[hit.table][hit.field].file
        card = RULEBOOK[rule]
        found.append(
            Finding(
                rule=rule,
                severity=hit.severity or card.severity,
                file=file,
                row=row,
                field=field,
                seen=hit.seen,
                expected=hit.expected,
                remedy=card.remedy,
            )
        )
    return found
