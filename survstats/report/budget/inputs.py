"""Which figures were given, by whom, how good are they, and which are missing?"""

from __future__ import annotations

from dataclasses import replace

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.tables import Row, coded, table_rows
from survstats.report.budget.parts import items, part, table
from survstats.report.content import Piece, Text
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_IN_MILLION = ("deaths_per_course", "injuries_per_course")
"""Shares so small that they are told as so many in a million."""
_GROUPS = ("people", "leavers_a_year", "months_since")
_OPTIONAL = ("false_confidence", "value_of_life", "courses_a_month")


def inputs(results: StudyResults, words: Wording) -> AnnexSection:
    """What is missing and where it is found; then every figure with its limits, quality and source."""
    rows: list[Row] = [_row(words, at, row) for at, row in enumerate(table_rows(results, "budget_inputs"))]
    heads = ("input", "value", "unit", "shape", "quality", "source")
    given = table(words, "inputs.table", heads, rows, numbers=("value",))
    given = replace(given, folded=True) if given else None
    absent = [f"no_{name}" for name in _OPTIONAL if not words.has_number(f"input.{name}")]
    missing = results.lists.get("budget.missing", ())
    without = AnnexBlock(
        words.say("budget.inputs.optional.title"), (), items=items(words, "inputs.optional", absent)
    )
    return part(words, "inputs", _missing(results, words), given, without if absent and not missing else None)


def _missing(results: StudyResults, words: Wording) -> AnnexBlock | None:
    rows: list[Row] = [
        (coded(words, "input.name", name), words.say(f"input.is.{name}"), words.say(f"input.found.{name}"))
        for name in results.lists.get("budget.missing", ())
        if words.has(f"input.is.{name}")
    ]
    return table(words, "inputs.missing", ("input", "is", "found"), rows, numbers=())


def _row(words: Wording, at: int, row: dict[str, object]) -> Row:
    name, _, of = str(row["name"]).partition(".")
    form, unit = _form(name, str(row["unit"]))
    return (
        _name(words, name, of),
        words.cell(f"input.{row['name']}", form),
        coded(words, "budget.unit", unit),
        coded(words, "budget.shape", str(row["shape"])),
        coded(words, "budget.quality", str(row["quality"])),
        words.cell(f"input.{row['name']}.source", "text") or words.cell(f"budget_inputs.{at}.source", "text"),
    )


def _name(words: Wording, name: str, of: str) -> Text:
    """What the figure is called, and of which group or spend it is."""
    told = coded(words, "input.name", name)
    if not of:
        return told
    whose = words.cell(f"{'group' if name in _GROUPS else 'spend'}.{of}.name", "text")
    return (*told, Piece(": "), *whose) if whose else told


def _form(name: str, unit: str) -> tuple[str, str]:
    """The rounding form of a figure, and the unit it is then told in."""
    if name in _IN_MILLION:
        return "in_million_with_interval", "in_million"
    if unit == "share":
        return "percent_exact_with_interval", "share"
    return f"{'money' if unit.startswith('money') else 'figure'}_with_interval", unit


def left_out(words: Wording) -> AnnexSection:
    """What the case leaves out, and what it is not."""
    keys = (
        "settled",
        "one_ratio",
        "borrowed",
        "capped",
        "fading",
        "fading_harm",
        "held",
        "apart",
        "same",
        "elsewhere",
        "staff",
        "harm",
        "other_gains",
    )
    return part(words, "left_out", AnnexBlock((), (), items=items(words, "left_out", keys)))


def cautions(words: Wording) -> AnnexSection:
    """What the paper is not."""
    keys = ("aid", "law", "nobody", "providers", "word")
    return part(words, "cautions", AnnexBlock((), (), items=items(words, "cautions", keys)))
