"""How does a part of the annex come from the catalogue: its table, its sentences, or the reason why there is none?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from survstats.report.annex.content import AnnexBlock, AnnexSection, Picture
from survstats.report.content import Piece, Text, plain
from survstats.report.lettering import join, legible
from survstats.report.records_content import TableSection
from survstats.report.records_tables import table_section
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

Row = tuple[Text, ...]
_GAP = "\u00a0"
_LONGEST = 28
"""Letters that stand on one line in a table: "(-1.76 to -1.18 million)" has fewer."""


def section(
    words: Wording,
    key: str,
    *blocks: AnnexBlock | None,
    lead: str | None = "lead",
    paper: str = "annex",
) -> AnnexSection:
    """A section of the catalogue with those of its blocks that are there; ``paper.key`` holds its title."""
    found = f"{paper}.{key}.{lead}"
    return AnnexSection(
        key=key.replace("_", "-"),
        title=words.say(f"{paper}.{key}.title"),
        lead=words.say(found) if lead and words.can_say(found) else (),
        blocks=tuple(block for block in blocks if block is not None),
    )


def tabled(
    words: Wording,
    key: str,
    heads: Sequence[str],
    rows: Iterable[Row],
    *,
    numbers: Sequence[str],
    picture: Picture | None = None,
    items: Iterable[Text] = (),
    paper: str = "annex",
) -> AnnexBlock | None:
    """A block around a table, columns that are empty throughout left out; None where the table has no row.

    Parameters
    ----------
    words : Wording
    key : str
        ``paper.key`` holds ``title``, ``lead`` and a name for each head.
    heads : sequence of str
    rows : iterable of tuple of Text
        As many cells as heads.
    numbers : sequence of str
        Heads whose cells stand flush right.
    picture : Picture, optional
    items : iterable of Text
    paper : str
    """
    rows = tuple(tuple(_let_break(_legible(cell)) for cell in row) for row in rows)
    if not rows:
        return None
    table = table_section(words, f"{paper}.{key}", tuple(heads), rows, numbers=tuple(numbers))
    return AnnexBlock(table.title, table.lead, picture, table, tuple(_legible(item) for item in items))


def _let_break(cell: Text) -> Text:
    """An interval stands on one line, unless its limits are so long that its table would leave the page."""
    if max(map(len, plain(cell).split(" "))) <= _LONGEST or f"{_GAP}to{_GAP}" not in plain(cell):
        return cell
    return tuple(replace(piece, text=piece.text.replace(f"{_GAP}to{_GAP}", f"{_GAP}to ")) for piece in cell)


def _legible(text: Text) -> Text:
    """Names of mishaps, operators and kinds come from the records, in whatever letters they were written."""
    return tuple(replace(piece, text=legible(piece.text)) for piece in text)


def said(
    words: Wording,
    key: str,
    *sentences: str | None,
    lead: str = "lead",
    picture: Picture | None = None,
    paper: str = "annex",
) -> AnnexBlock | None:
    """A block of sentences; those whose numbers are not there are left out, and so is a block that has nothing left.

    Parameters
    ----------
    words : Wording
    key : str
        ``paper.key`` holds ``title``, the lead and the sentences.
    *sentences : str or None
        Keys under ``paper.key``.
    lead : str
    picture : Picture, optional
    paper : str
    """
    keys = [f"{paper}.{key}.{sentence}" for sentence in sentences if sentence]
    items = tuple(words.say(name) for name in keys if words.can_say(name))
    found = f"{paper}.{key}.{lead}"
    if not (items or picture or (not keys and words.can_say(found))):
        return None
    return AnnexBlock(
        words.say(f"{paper}.{key}.title"),
        words.say(found) if words.can_say(found) else (),
        picture,
        None,
        items,
    )


def refused(words: Wording, results: StudyResults, name: str, items: Iterable[Text] = ()) -> AnnexBlock:
    """A block that says in one sentence why a number is not there, and what can be said without it."""
    return AnnexBlock((), why(words, results, name), items=tuple(items))


def part(
    words: Wording,
    results: StudyResults,
    key: str,
    needs: str,
    *sentences: str,
    beside: Sequence[str] = (),
    picture: Picture | None = None,
    table: TableSection | None = None,
) -> AnnexBlock:
    """A headed part: its sentences, or the reason why the number it ``needs`` is not there.

    How it is to be read is said where there is something to read; the sentences ``beside`` do not hang on that number.
    """
    key = f"annex.doubts.{key}"
    there = needs in results.numbers
    told = texts(words, *(f"{key}.{sentence}" for sentence in (*(sentences if there else ()), *beside)))
    alone = "_alone" if not (table or picture) and words.has(f"{key}.lead_alone") else ""
    lead = next(iter(texts(words, f"{key}.lead{alone}")), ()) if there or table else ()
    if not there:
        reason = why(words, results, needs)
        lead, told = (lead, (reason, *told)) if lead else (reason, told)
    return AnnexBlock(words.say(f"{key}.title"), lead, picture, table, told)


def why(words: Wording, results: StudyResults, name: str) -> Text:
    """Why there is no number of this id, as a sentence."""
    return words.say(f"reason.{_known(words, results.absent.get(name, ''))}")


def _known(words: Wording, reason: str) -> str:
    return reason if words.has(f"reason.{reason}") else "other"


def with_interval(words: Wording, row: str, form: str, value: str = "difference") -> Text:
    """The estimate of a table's row with its interval: "8 (-4 to 20)"; empty where there is none."""
    middle, low, high = (words.cell(f"{row}.{name}", form) for name in (value, "low", "high"))
    if not middle:
        return ()
    if not (low and high):
        return middle
    return (*middle, Piece(" ("), *low, Piece("\u00a0to\u00a0"), *high, Piece(")"))


def coded(words: Wording, key: str, code: str) -> Text:
    """What a code is called; the code itself, spaced, where the catalogue has no name for it."""
    name = f"{key}.{code}"
    return words.say(name) if words.has(name) else (Piece(words.name(code).replace("_", " ")),)


def numbered(words: Wording, name: str, text: Text) -> Text:
    """A text with the stored number of its row in front."""
    return (*words.cell(name, "count"), Piece("\u00a0 "), *text)


def some(results: StudyResults, name: str) -> bool:
    """Whether anybody stands under this id."""
    return name in results.numbers and results.numbers[name].value != 0


def named_list(words: Wording, key: str, names: Iterable[str], name: str, *, of: str = "") -> Text:
    """A sentence that ends in a stored list: "Not shown: age and sex."; entries are named under ``of`` or as fields."""
    told = [
        words.template(f"{of}.{entry}") if words.has(f"{of}.{entry}") else words.name(entry)
        for entry in names
    ]
    return (*words.say(key), Piece(" "), Piece(words.listed(told), name), Piece("."))


def table_rows(results: StudyResults, name: str) -> list[dict[str, object]]:
    """The rows of a stored table, each by column; none where it is not stored."""
    table = results.tables.get(name)
    return [] if table is None else [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def as_number(cell: object) -> float:
    """A cell of a stored table that holds a number."""
    assert isinstance(cell, int | float)  # noqa: S101  (the study floor stores numbers there)
    return float(cell)


def texts(words: Wording, *keys: str, row: str = "") -> tuple[Text, ...]:
    """Those of the sentences that can be said."""
    return tuple(words.say(key, row=row) for key in keys if words.can_say(key, row=row))


def run(*parts: Text) -> Text:
    """Sentences in a row."""
    return join(*parts)


def node(words: Wording, code: str) -> str:
    """What a node of the graph is called."""
    key = f"annex.node.{code.lower()}"
    return words.template(key) if words.has(key) else code
