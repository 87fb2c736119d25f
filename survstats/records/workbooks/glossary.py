"""How is a field told to people: its limits, its codes, its empty cell?

``python -m survstats.records.workbooks.glossary`` prints the table of fields that stands in the README.
"""

from __future__ import annotations

from collections.abc import Sequence

from survstats.records.codebook import NOT_COLLECTED, TABLES, Field, load_codebook

KINDS = {
    "text": "text",
    "integer": "whole number",
    "number": "number",
    "date": "date YYYY-MM-DD",
    "time": "time HH:MM",
}
_EMPTY = {True: "not collected", False: "not allowed"}


def tokens(field: Field) -> tuple[str, ...]:
    """The words that may stand in a cell instead of a number, a date or a text: ``inf``, ``unknown``, ``na``."""
    words = ("inf",) if field.open_ended else ()
    return words + tuple(token for token in field.missing if token != NOT_COLLECTED)


def choices(field: Field) -> tuple[str, ...]:
    """Everything that may be chosen in a category or tri-state, in the codebook's order; else nothing."""
    return field.values + tokens(field) if field.values else ()


def allowed(field: Field) -> str:
    """What may stand in a cell, in words."""
    if field.values:
        return _listed(choices(field))
    own = KINDS[field.kind]
    if field.minimum is not None and field.maximum is not None:
        own += f" {field.minimum:,.0f} to {field.maximum:,.0f}"
    return _listed((own, *tokens(field)))


def empty(field: Field) -> str:
    """What an empty cell means, in words."""
    return _EMPTY[NOT_COLLECTED in field.missing]


def codebook_table() -> str:
    """The fields of all tables as Markdown: one folded table each, with unit, allowed values and meaning."""
    parts = []
    for table in TABLES:
        fields = load_codebook().table(table)
        lines = [
            f"<details><summary><code>{table}</code>: {len(fields)} fields</summary>",
            "",
            "| field | unit | allowed | meaning |",
            "|---|---|---|---|",
            *(_row(field) for field in fields),
            "",
            "</details>",
        ]
        parts.append("\n".join(lines))
    return "\n\n".join(parts) + "\n"


def _row(field: Field) -> str:
    name = f"`{field.name}`"
    if field.required:
        name = f"**{name}**"
    return f"| {name} | {field.unit} | {allowed(field)} | {field.meaning} |"


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]


if __name__ == "__main__":
    print(codebook_table(), end="")
