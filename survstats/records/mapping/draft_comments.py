"""What did reading find out about these columns, as comments and texts of a mapping?"""

from __future__ import annotations

import json
import re

from survstats.groundwork.words import visible
from survstats.records.codebook import TableName, load_codebook
from survstats.records.reading.day_order import DAY_FIRST, MONTH_FIRST
from survstats.records.reading.grid import Grid
from survstats.records.reading.tables import TextTable
from survstats.records.reading.written_forms import settle

MOST_FAULTY = 3
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_OUR_WORDS = {"D Month YYYY": "DD MMM YYYY", "YYYY-MM-DD 00:00": "YYYY-MM-DD"}


def toml_text(text: str) -> str:
    """A text as TOML holds it, in quotes; what cannot be seen is written as an escape."""
    quoted = json.dumps(text, ensure_ascii=False)
    return visible(quoted, instead=lambda letter: f"\\U{ord(letter):08X}")


def one_line(text: str) -> str:
    """A text for a comment."""
    return visible(" ".join(text.split()))


def form_comments(table: TableName, found: dict[str, str], text: TextTable) -> dict[str, list[str]]:
    """By field, in which form numbers and dates seem to be written, and cells in which no value stands (F13)."""
    columns = {name: text.cells[column].tolist() for name, column in found.items()}
    fields = load_codebook().table(table)
    settled = settle(Grid(text.file, columns, text.rows), fields)
    comments: dict[str, list[str]] = {name: [] for name in found}
    for finding in settled.findings:
        if finding.rule == "F11":
            form = _OUR_WORDS.get(form := finding.seen.removeprefix("dates written "), form)
            comments[finding.field].append(f"# dates = {toml_text(form)}  # {one_line(finding.remedy)}")
        elif finding.rule == "F3" and not comments[finding.field]:
            either = f"# dates = {toml_text(DAY_FIRST)}  # or {toml_text(MONTH_FIRST)}"
            comments[finding.field].append(f"{either}: {one_line(finding.expected)}")
    for field in fields:
        commas = [cell for cell in columns.get(field.name, []) if _DECIMAL_COMMA.fullmatch(cell)]
        if field.kind in ("integer", "number") and commas:
            comments[field.name].append(f'# decimal = ","  # such as {toml_text(commas[0])}')
    for name, column in found.items():
        faulty = [finding for finding in text.findings if finding.field == column]
        comments[name] += [
            f"# row {f.row}: {one_line(f'{f.seen}; {f.remedy}')}" for f in faulty[:MOST_FAULTY]
        ]
        comments[name] += [f"# ... and {len(faulty) - MOST_FAULTY} more"] if faulty[MOST_FAULTY:] else []
    return comments
