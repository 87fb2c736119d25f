"""What of the results may leave the house?

Counts of people are withheld where they are small or would give a small one back (`survstats.study.disclosure`).
Everything else is withheld unless it is known to rest on counts that are shared: a number says at storing which counts
it rests on, and one that says nothing stays here. What is shared besides counts is rounded to what the papers print,
so that no long fraction gives its counts back. Nothing of a single mishap, person, coder or file row is shared.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping

import numpy as np

from survstats.study.counting import COMPARED
from survstats.study.disclosure import counts_of, is_safe, withhold
from survstats.study.open_ids import IN_HOUSE, OPEN_NUMBERS, STAYS, is_open, printed, rounded
from survstats.study.results import MASKED, Cell, Number, StudyResults, Table
from survstats.study.results_builder import ResultsBuilder, cell_id
from survstats.study.shared_words import challenge_rows, shared_challenges, shared_codes, shared_lists

#: Tables that follow from the study file, and from which of its fields were recorded at all.
_OPEN_TABLES = ("graph_nodes", "graph_edges", "open_paths")
#: A table of people that may have no row at all, and is shared then too.
_MAY_BE_EMPTY = "missing_together"
_OPEN_TEXTS = re.compile(r"study\.")
#: Families of counts beside the study's own: what is known of a field, how times were written, gaps that go together.
_ASIDE = re.compile(r"gaps\.\w+(?=\.(?:known|of)_)|gaps\.complete(?=_)|times\.|missing_together/\d+/")
#: The lapsed and the briefed stand in neither group: how they divide is told only where it costs nothing else.
_DIVIDED = ("lapsed", "briefing", "briefing_or_dry_only")
#: Counts that go last: the groups compared, and everyone of whom it is told what is known.
_SPARED = frozenset(COMPARED) | {"gaps.died", "gaps.survived"}
#: A hash of a file or plan would tell whoever has it, or guesses it, that this is the one.
_OPEN_PROVENANCE = ("verdict_thresholds", "choices", "seed")


def share(out: ResultsBuilder, *, limit: int) -> StudyResults:
    """The results as they may be passed on.

    Parameters
    ----------
    out : ResultsBuilder
        Everything stored by a run, with the people behind its counts; it is not changed.
    limit : int
        Counts of people from 1 to ``limit - 1`` are withheld, and whatever would give them back.

    Returns
    -------
    StudyResults
        With the code ``paper.audience`` "sharing" and the number ``sharing.limit``. A count that is withheld has the
        method "masked" and no value; another number, or a table, that is withheld is absent with the reason "masked".
    """
    closed = _closed(out, limit)
    numbers, absent = _numbers(out, closed)
    numbers["sharing.limit"] = Number(float(limit), "count", "study_file")
    codes, gates = shared_codes(out, closed)
    codes |= (told := shared_challenges(out, closed))
    tables = _tables(out, closed, numbers) | {"gates": gates, "challenges": challenge_rows(out, told)}
    absent |= {name: MASKED for name in out.tables if name not in tables}
    return StudyResults(
        numbers=numbers,
        codes=codes,
        texts={name: text for name, text in out.texts.items() if _OPEN_TEXTS.match(name)},
        absent=absent,
        lists=shared_lists(out, closed),
        tables=tables,
        rows={},
        notices=[(code, dict(values)) for code, values in out.notices if code == "gap_coded"],
        provenance={
            name: value
            for name, value in out.provenance.items()
            if name in _OPEN_PROVENANCE or name.startswith("version.")
        },
        rests_on={name: counts for name, counts in out.rests_on.items() if name in numbers},
    )


def _closed(out: ResultsBuilder, limit: int) -> frozenset[str]:
    """The ids of counts that are withheld, and of unpublished groups that are small.

    First the counts of the study itself, as few as can be. Then, family by family, those beside it: a family that is
    not safe together with all that is shared already is withheld whole.
    """
    families: dict[str, dict[str, frozenset[int]]] = {"": {}, _DIVIDED[0]: {}}
    in_house = {name for name in out.people if IN_HOUSE.match(name)}
    for name, who in out.people.items():
        if name in in_house:
            continue
        families.setdefault(_family(out, name), {})[name] = who
    shared = families.pop("")
    counts = counts_of(shared)
    hidden = withhold(counts, limit=limit, spare=_SPARED)
    closed = {name for names, gone in zip(counts.aliases, hidden, strict=True) if gone for name in names}
    shared = {name: who for name, who in shared.items() if name not in closed}
    for family in families.values():
        more = counts_of(shared | family)
        if is_safe(more, np.zeros(len(more.names), bool), limit=limit):
            shared |= family
        else:
            closed |= set(family)
    return frozenset(closed | in_house | {name for name, who in out.parts.items() if 0 < len(who) < limit})


def _family(out: ResultsBuilder, name: str) -> str:
    """To which family a count belongs, empty for the study's own; a cell of a table goes by the first of its row."""
    aside = _ASIDE.match(name)
    if aside:
        return aside[0]
    table, *place = name.split("/")
    line = str(out.tables[table].rows[int(place[0])][0]) if place else name.rsplit(".", 1)[-1]
    return _DIVIDED[0] if line.removesuffix("_died").removesuffix("_survived") in _DIVIDED else ""


def _numbers(out: ResultsBuilder, closed: frozenset[str]) -> tuple[dict[str, Number], dict[str, str]]:
    numbers: dict[str, Number] = {}
    absent = dict(out.absent)
    for name, number in out.numbers.items():
        counts_people = name in out.people
        if counts_people and name not in closed:
            numbers[name] = number
        elif not counts_people and is_open(out, name, closed):
            repeated = name in out.counted and out.counted[name] not in closed
            numbers[name] = rounded(number, counted=repeated or bool(OPEN_NUMBERS.match(name)))
        elif number.unit == "count" and not (IN_HOUSE.match(name) or STAYS.match(name)):
            numbers[name] = Number(math.nan, "count", MASKED)
        else:
            absent[name] = MASKED
    return numbers, absent


def _tables(out: ResultsBuilder, closed: frozenset[str], numbers: Mapping[str, Number]) -> dict[str, Table]:
    """Tables that count people, without the cells withheld; what one mishap can do at most; rules broken."""
    tables = {
        name: Table(table.columns, tuple(_rows(out, name, table, closed)))
        for name, table in out.tables.items()
        if name in _OPEN_TABLES
        or (name == _MAY_BE_EMPTY and not table.rows)
        or (not IN_HOUSE.match(f"{name}/") and any(one.startswith(f"{name}/") for one in out.people))
    }
    if "estimators" in out.tables:
        tables["estimators"] = _estimators(out.tables["estimators"], numbers)
    if "one_mishap_out" in out.tables and not closed & set(COMPARED):
        tables["one_mishap_out"] = _ends(out.tables["one_mishap_out"])
    if "findings" in out.tables:
        rules = sorted({(row[0], row[1]) for row in out.tables["findings"].rows}, key=str)
        tables["findings"] = Table(("rule", "severity"), tuple(rules))
    for name in ("findings_by_rule", "accepted"):
        if name in out.tables:
            tables[name] = _without(out.tables[name], "findings", "reason")
    return tables


def _estimators(table: Table, numbers: Mapping[str, Number]) -> Table:
    """The estimates that are shared, as they are shared."""
    parts = ("value", "low", "high", "df", "mishaps", "occupants")
    rows = []
    for row in table.rows:
        line = dict(zip(table.columns, row, strict=True))
        if (number := numbers.get(str(line["id"]))) is not None:
            line |= {part: getattr(number, part) for part in parts}
            rows.append(tuple(line.values()))
    return Table(table.columns, tuple(rows))


def _without(table: Table, *columns: str) -> Table:
    """The table with these columns withheld."""
    rows = (
        tuple(MASKED if column in columns else cell for column, cell in zip(table.columns, row, strict=True))
        for row in table.rows
    )
    return Table(table.columns, tuple(rows))


def _rows(out: ResultsBuilder, name: str, table: Table, closed: frozenset[str]) -> Iterator[tuple[Cell, ...]]:
    """The rows of a table of people; where any count of a row is withheld, so is what else the row counts.

    A row beside the study's own counts is left out then: its place in the table would tell how large it is.
    """
    for at, row in enumerate(table.rows):
        ids = [cell_id(name, at, column) for column in table.columns]
        if closed.isdisjoint(ids):
            yield row
        elif not _ASIDE.match(ids[0]):
            yield tuple(
                MASKED if one in closed or (one not in out.people and isinstance(cell, int | float)) else cell
                for one, cell in zip(ids, row, strict=True)
            )


def _ends(table: Table) -> Table:
    """The least and the most difference with any one mishap left out: a row for each would tell how many are large."""
    rows = sorted(tuple(printed(float(cell or 0), "difference") for cell in row[1:]) for row in table.rows)
    return Table(("which", *table.columns[1:]), (("least", *rows[0]), ("most", *rows[-1])))
