"""What of the results may leave the house?

Counts of people are withheld where they are small or would give a small one back (`survstats.study.disclosure`).
Everything else is withheld unless it is known to rest on counts that are shared: a number says at storing which counts
it rests on, and one that says nothing stays here. What is shared besides counts is rounded to what the papers print,
so that no long fraction gives its counts back. Nothing of a single mishap, person, coder or file row is shared.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from survstats.challenge.battery import FIGURES
from survstats.study.counting import COMPARED
from survstats.study.disclosure import counts_of, is_safe, withhold
from survstats.study.results import MASKED, Cell, Number, StudyResults, Table
from survstats.study.results_builder import ResultsBuilder, cell_id

#: Ids whose numbers tell nothing of people: the plan, the rule of the verdict and its gates, years, all mishaps.
_OPEN_NUMBERS = re.compile(
    r"(plan|threshold|log|agreement|sharing|span|graph)\.|fitness\.floor(_odds)?$|impact_death\.margin$"
    r"|miscoding\.sensitivity$|choices\.listed$|challenge\.\w+\.number$|change\.|population\.(first|last)_year$|records\.(mishaps|not_blind|blind_unknown)$"
    r"|verdict\.(assessed|gates)$|gate\.\w+\.number$"
)
_OPEN_LISTS = re.compile(
    r"plan\.|graph\.|modifiers\.|notices\.|gaps\.needed$|records\.(warnings|accepted|banners)$|population\.(classes|roles)$"
)
#: Tables that follow from the study file, and from which of its fields were recorded at all.
_OPEN_TABLES = ("graph_nodes", "graph_edges", "open_paths")
#: The analyst's tables and counts stay here whole: they cut the same people finer than anything that is shared.
_IN_HOUSE = re.compile(
    r"(flow|crude_shares|recency|fading_months|modifiers|calibration|influence|era_positivity|empty_cells)/"
    r"|(recency|fading|imputed|pairs|overlap|tipping|miscoding)\."
)
#: Numbers that rest on who is unknown, undocumented or in a harmless mishap, and on what single choices find.
_STAYS = re.compile(r"(tipping|miscoding|under_reporting)\.|choices\.(least|most)$|effect\.rd_imputed$")
#: A table of people that may have no row at all, and is shared then too.
_MAY_BE_EMPTY = "missing_together"
_ONE_MISHAP = re.compile(r"adequacy\.largest_leverage$|fading\.")
_OPEN_TEXTS = re.compile(r"study\.")
#: Families of counts beside the study's own: what is known of a field, how times were written, gaps that go together.
_ASIDE = re.compile(r"gaps\.\w+(?=\.(?:known|of)_)|gaps\.complete(?=_)|times\.|missing_together/\d+/")
#: The lapsed and the briefed stand in neither group: how they divide is told only where it costs nothing else.
_DIVIDED = ("lapsed", "briefing", "briefing_or_dry_only")
#: Counts that go last: the groups compared, and everyone of whom it is told what is known.
_SPARED = frozenset(COMPARED) | {"gaps.died", "gaps.survived"}
#: A hash of a file or plan would tell whoever has it, or guesses it, that this is the one.
_OPEN_PROVENANCE = ("verdict_thresholds", "choices", "seed")
_WORD = re.compile(r"[a-z_]*")

#: Codes that tell something of a number, and go where it goes.
_CODES = {
    "adequacy.calibration": "adequacy.calibration_slope",
    "effect.one_arm_hangs": "effect.rd",
    "effect.roads": "effect.augmented_gap",
    "flip.kind": "flip.p",
    "random.reading": "random.difference",
    "random.spread_state": "random.spread",
    "fitness.shift_group": "fitness.largest_shift",
    "impact_death.alarm": "impact_death.rd",
    "tipping.chance_state": "tipping.expected",
    "tipping.difference_state": "tipping.expected",
}

#: Which counts the state of a gate rests on, beside the four groups compared.
_GATES: Mapping[str, Sequence[str]] = {
    "seen": (
        *(f"seen.{name}_{fate}" for name in ("documented", "unknown") for fate in ("died", "survived")),
        *("seen.died", "seen.survived"),
    ),
    "enough": ("cohort.died", "cohort.survived", "seen.trained", "seen.untrained"),
    "unknown_status": ("seen.unknown_died", "seen.unknown_survived"),
    "miscoding": ("seen.documented_died", "seen.died"),
}


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
    codes, gates = _codes(out, closed)
    codes |= (told := _challenges(out, closed))
    tables = _tables(out, closed, numbers) | {"gates": gates, "challenges": _challenge_rows(out, told)}
    absent |= {name: MASKED for name in out.tables if name not in tables}
    return StudyResults(
        numbers=numbers,
        codes=codes,
        texts={name: text for name, text in out.texts.items() if _OPEN_TEXTS.match(name)},
        absent=absent,
        lists=_lists(out, closed),
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
    in_house = {name for name in out.people if _IN_HOUSE.match(name)}
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


def _is_open(out: ResultsBuilder, name: str, closed: frozenset[str]) -> bool:
    """Whether a number that is no count of people may be shared."""
    if _ONE_MISHAP.match(name) or (_STAYS.match(name) and not _OPEN_NUMBERS.match(name)):
        return False
    return bool(_OPEN_NUMBERS.match(name)) or (name in out.rests_on and not closed & set(out.rests_on[name]))


def _numbers(out: ResultsBuilder, closed: frozenset[str]) -> tuple[dict[str, Number], dict[str, str]]:
    numbers: dict[str, Number] = {}
    absent = dict(out.absent)
    for name, number in out.numbers.items():
        counts_people = name in out.people
        if counts_people and name not in closed:
            numbers[name] = number
        elif not counts_people and _is_open(out, name, closed):
            repeated = name in out.counted and out.counted[name] not in closed
            numbers[name] = _rounded(number, counted=repeated or bool(_OPEN_NUMBERS.match(name)))
        elif number.unit == "count" and not (_IN_HOUSE.match(name) or _STAYS.match(name)):
            numbers[name] = Number(math.nan, "count", MASKED)
        else:
            absent[name] = MASKED
    return numbers, absent


def _rounded(number: Number, *, counted: bool) -> Number:
    """A number as the papers print it; its people and mishaps only where they are known to be shared elsewhere."""
    if number.unit == "count" or number.method in ("study_file", "rule"):
        return number
    value, low, high = (
        None if part is None else printed(part, number.unit)
        for part in (number.value, number.low, number.high)
    )
    return replace(
        number,
        value=math.nan if value is None else value,
        low=low,
        high=high,
        df=None,
        mishaps=number.mishaps if counted else None,
        occupants=number.occupants if counted else None,
    )


def printed(value: float, unit: str) -> float:
    """A value rounded as the papers print it: shares and differences to whole per cent, ratios to two digits.

    A difference under half a point keeps a decimal and stays under it (the pages print .0049 as half a point, and .005
    as a whole one), and a share that is not quite 0 or 1 does not become that.
    """
    if not math.isfinite(value):
        return value
    if unit in ("share", "risk", "difference"):
        rounded = math.copysign(math.floor(100 * abs(value) + 0.5) / 100, value)
        if unit == "difference":
            return math.copysign(min(round(abs(value), 3), 0.0049), value) if abs(value) < 0.005 else rounded
        return min(max(rounded, 0.004), 0.996) if 0 < value < 1 and rounded in (0, 1) else rounded
    return float(f"{value:.0f}") if unit in ("df", "year") or abs(value) >= 99 else float(f"{value:.2g}")


def _codes(out: ResultsBuilder, closed: frozenset[str]) -> tuple[dict[str, str], Table]:
    """The codes and the table of gates, without those that rest on a count that is withheld."""
    codes = {name: code for name, code in out.codes.items() if _WORD.fullmatch(code)}
    codes["paper.audience"] = "sharing"
    rows = []
    for gate, state, finding in out.tables["gates"].rows:
        if closed & {*COMPARED, *_GATES.get(str(gate), ())}:
            state, finding = "not_assessed", MASKED
            codes[f"gate.{gate}.state"], codes[f"gate.{gate}.finding"] = state, finding
        rows.append((gate, state, finding))
    if codes["brief.form"] == "estimated" and closed & set(COMPARED):
        codes["brief.form"] = MASKED
    if any(finding == MASKED for _, _, finding in rows):
        codes |= {"verdict.word": "cannot_tell", "verdict.reason": MASKED, "verdict.reading": "no"}
        codes |= {"verdict.reading_shown": MASKED, "verdict.reading_why": MASKED}
        codes |= {"verdict.borderline": "no", "verdict.word_at_lower_floor": "cannot_tell"}
        codes |= {"verdict.few_mishaps_route": "no", "change.up_word": "none"}
    if codes["gate.beyond_chance.finding"] == MASKED:
        codes |= {"verdict.chance": "not_shown", "verdict.direction": "none", "verdict.size": "none"}
        codes |= {"verdict.chance_shown": MASKED, "verdict.chance_why": MASKED}
    if closed & {*COMPARED, "seen.unknown", "seen.unknown_died"}:
        codes["records.left_out"] = "left_out_alike"
    for code, number in _CODES.items():
        if code in codes and not _is_open(out, number, closed):
            del codes[code]
    if "claim.trained_of_survivors" in out.numbers and not _is_open(
        out, "claim.trained_of_survivors", closed
    ):
        del codes["claim.share"]
    return codes, Table(out.tables["gates"].columns, tuple(rows))


def _challenges(out: ResultsBuilder, closed: frozenset[str]) -> dict[str, str]:
    """State and finding of each challenge, withheld where a figure behind it is, or a group compared."""
    told = {}
    for name, figures in FIGURES.items():
        there = [one for one in figures if one in out.numbers]
        hidden = closed & set(COMPARED) or not all(
            (one in out.people and one not in closed) or _is_open(out, one, closed) for one in there
        )
        for part, withheld in (("state", "not_assessable"), ("finding", MASKED)):
            code = f"challenge.{name}.{part}"
            told[code] = withheld if hidden else out.codes[code]
    return told


def _challenge_rows(out: ResultsBuilder, told: Mapping[str, str]) -> Table:
    columns = out.tables["challenges"].columns
    return Table(
        columns,
        tuple((name, told[f"challenge.{name}.state"], told[f"challenge.{name}.finding"]) for name in FIGURES),
    )


def _lists(out: ResultsBuilder, closed: frozenset[str]) -> dict[str, Sequence[str]]:
    shared: dict[str, Sequence[str]] = {
        name: list(words) for name, words in out.lists.items() if _OPEN_LISTS.match(name)
    }
    if "gaps.fields" in out.lists:  # by its place in the order a withheld field would tell how large it is
        shared["gaps.fields"] = [
            name
            for name in out.lists["gaps.fields"]
            if not any(one in closed for one in out.people if one.startswith(f"gaps.{name}."))
        ]
    if out.lists.get("population.operators"):
        shared["population.operators"] = [MASKED]
    if not closed & set(COMPARED):
        shared |= {name: list(words) for name, words in out.lists.items() if name.startswith("gate.")}
    masked = closed & {*COMPARED, *(count for counts in _GATES.values() for count in counts)}
    for name in ("change.up", "change.down"):
        shared[name] = [] if masked else list(out.lists[name])
    return shared


def _tables(out: ResultsBuilder, closed: frozenset[str], numbers: Mapping[str, Number]) -> dict[str, Table]:
    """Tables that count people, without the cells withheld; what one mishap can do at most; rules broken."""
    tables = {
        name: Table(table.columns, tuple(_rows(out, name, table, closed)))
        for name, table in out.tables.items()
        if name in _OPEN_TABLES
        or (name == _MAY_BE_EMPTY and not table.rows)
        or (not _IN_HOUSE.match(f"{name}/") and any(one.startswith(f"{name}/") for one in out.people))
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
