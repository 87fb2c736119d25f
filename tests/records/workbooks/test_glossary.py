"""Does the README's table of fields say what the codebook says?"""

from __future__ import annotations

import re
from pathlib import Path

from survstats.records.codebook import TABLES, load_codebook
from survstats.records.workbooks.glossary import allowed, choices, codebook_table

README = Path(__file__).parents[3] / "README.md"
START, END = "<!-- fields -->", "<!-- end of fields -->"


def test_the_readme_holds_the_table_of_fields() -> None:
    text = README.read_text(encoding="utf-8")
    assert text[text.index(START) + len(START) : text.index(END)].strip() == codebook_table().strip()


def test_the_table_has_one_row_for_each_field() -> None:
    rows = re.findall(r"^\| \**`([a-z0-9_]+)`", codebook_table(), flags=re.MULTILINE)
    assert rows == [field.name for table in TABLES for field in load_codebook().table(table)]
    assert all(line.count("|") == 5 for line in codebook_table().splitlines() if line.startswith("|"))


def test_allowed_values_are_told_in_words() -> None:
    book = load_codebook()
    assert allowed(book.field("mishap", "sea_state_wmo")) == "whole number 0 to 9, unknown or na"
    assert allowed(book.field("mishap", "event_date")) == "date YYYY-MM-DD"
    assert allowed(book.field("occupant", "egress_hi_s")) == "number 0 to 1,000,000, inf, unknown or na"
    assert allowed(book.field("occupant", "outcome")) == "survived, died or missing_presumed_dead"
    assert choices(book.field("occupant", "seat_side")) == ("L", "C", "R", "unknown", "na")
