"""Is every text harmless in a cell, and left alone where it was?"""

from __future__ import annotations

import csv
import io
import json
from xml.dom import minidom
from xml.sax.saxutils import escape

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survstats.groundwork.cells import CELL_LETTERS, acts_as_formula, clean_text, csv_cell, inert_json

HARMLESS = [
    "",
    "M-01",
    "water 9.5 C",
    "-1.5",
    "+3",
    "1e-5",
    "-.5",
    "a=b",
    "\u0141\u00f3d\u017a",
    "<b>",
    "a'b",
    "x\ny",
]
FORMULAS = [
    "=1+1",
    "+A1",
    "-A1",
    "@SUM(A1)",
    "\t=1",
    "\n=1",
    " =1",
    "'=1",
    '"=1',
    "\uff1d1",
    "\u200b=1",
    "-1+1",
    "|x",
    "-",
]


@pytest.mark.parametrize("text", HARMLESS)
def test_harmless_texts_stay_as_they_are(text: str) -> None:
    assert csv_cell(text) == clean_text(text) == text


@pytest.mark.parametrize("text", FORMULAS)
def test_texts_that_would_act_are_led_by_an_apostrophe(text: str) -> None:
    assert acts_as_formula(text)
    assert csv_cell(text) == f"'{text}"


def test_what_is_invisible_becomes_visible() -> None:
    assert clean_text("a\x00b\x1bc\x7f") == "a\u2400b\u241bc\u2421"
    assert clean_text("\u202etxt.exe") == "[U+202E]txt.exe"
    assert clean_text("a\ud800\uffff") == "a\ufffd\ufffd"
    assert clean_text("a\r\nb\rc") == "a\nb\nc"


def test_a_carriage_return_cannot_hide_a_formula() -> None:
    assert csv_cell("\r=1").startswith("'")
    assert csv_cell("\x01=1").startswith("\u2401")


@pytest.mark.parametrize("text", ["x" * 1_000_000, "\U0001f681" * 20_000, "\u202e" * 32_000, "=" * 40_000])
def test_long_texts_are_cut_with_their_length(text: str) -> None:
    for cut in (clean_text(text), csv_cell(text)):
        assert len(cut.encode("utf-16-le")) // 2 <= CELL_LETTERS
        assert cut.endswith(f" [cut: {len(text)} letters]")


def test_the_longest_text_that_fits_is_not_cut() -> None:
    assert clean_text("x" * (CELL_LETTERS - 1)) == "x" * (CELL_LETTERS - 1)


@given(st.text(alphabet=st.characters(), max_size=60))
def test_any_text_stands_in_xml_and_in_one_line_of_csv(text: str) -> None:
    clean = csv_cell(text)
    clean.encode()
    minidom.parseString(f"<a>{escape(clean)}</a>".encode())  # noqa: S318  (our own text)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow([clean, "next"])
    assert list(csv.reader(io.StringIO(out.getvalue(), newline=""))) == [[clean, "next"]]
    assert not acts_as_formula(clean) or clean.startswith("'")


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=60))
def test_inert_json_holds_the_same_values(text: str) -> None:
    plain = inert_json(json.dumps({text: [text]}, ensure_ascii=False))
    assert json.loads(plain) == {text: [text]}
    assert not any(letter in plain for letter in "\u202e\u2066\u200f\x85\x7f\u2028")
