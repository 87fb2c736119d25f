"""Do findings read well in a terminal: by rule, inside its columns, and harmless?"""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from survstats.report.findings_text import PLACES, findings_text


def row(rule="R17", severity="error", file="occupant.csv", at=84, **more):
    parts = {
        "title": "Training after the mishap",
        "field": "training_last_date",
        "seen": "2031-02-01",
        "expected": "on or before 2019-03-02",
        "remedy": "correct one of the dates",
        **more,
    }
    return (
        rule,
        severity,
        parts["title"],
        file,
        at,
        *(parts[key] for key in ("field", "seen", "expected", "remedy")),
    )


def columns(line: str) -> int:
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in line
    )


def test_a_rule_has_its_title_its_places_in_columns_and_its_remedy_once():
    assert findings_text([row(at=84), row(at=1200, seen="2030")]) == [
        "error R17  Training after the mishap                                  2 findings",
        "  occupant.csv",
        "    row   field               found       expected",
        "    84    training_last_date  2031-02-01  on or before 2019-03-02",
        "    1200  training_last_date  2030        on or before 2019-03-02",
        "  > correct one of the dates",
    ]


def test_errors_come_first_and_statements_last_rules_in_their_order():
    lines = findings_text(
        [
            row("R44", "statement", seen="1 unknown, 3 not collected", expected="", remedy=""),
            row("R39", "statement", field="", seen="Unknown for 41 of 111 dead.", expected="", remedy=""),
            row("R17", "error"),
            row("R3", "warning"),
            row("R4", "accepted"),
            row("F2", "error"),
            row("R4", "error"),
        ]
    )
    heads = [" ".join(line.split()[:2]) for line in lines if line and not line.startswith(" ")]
    assert heads == [
        "error F2",
        "error R4",
        "error R17",
        "warning R3",
        "accepted R4",
        "statement R39",
        "statement R44",
    ]
    assert "  occupant.csv: Unknown for 41 of 111 dead." in lines
    assert lines[-1] == "  occupant.csv, training_last_date: 1 unknown, 3 not collected"


def test_many_places_are_cut_with_a_word_on_how_to_see_all():
    lines = findings_text([row(at=at, seen=f"found {at}") for at in range(PLACES + 3)])
    assert sum(line.startswith("    ") for line in lines) == PLACES + 1
    assert "  and 3 more: --out FILE lists all" in lines
    assert "more" not in "".join(findings_text([row(at=at, seen=f"{at}") for at in range(PLACES)]))


def test_rows_that_say_the_same_share_a_line():
    alike, other = [row(at=at, seen="pasenger") for at in range(2, 40)], row(at=7, seen="crew")
    lines = findings_text([*alike[:5], other, *alike[5:]])
    assert sum("pasenger" in line for line in lines) == sum("crew" in line for line in lines) == 1
    assert "2, 3, 4, 5 and 34 more" in " ".join(" ".join(lines).split())


def test_absent_columns_stand_on_few_lines():
    fields = [f"a_long_name_of_a_field_{letter}" for letter in "abcdefghijklmnop"]
    lines = findings_text(
        [
            row("F8", "statement", at=None, field=f, seen="", expected="", title="A column that is not there")
            for f in fields
        ]
    )
    assert len(lines) < 9
    assert all(field in "".join(lines) for field in fields)


def test_columns_that_are_not_there_come_after_everything_else():
    absent = row("F8", "statement", at=None, field="seat_row", seen="", expected="", title="Not there")
    other = row("R44", "statement", at=None, seen="1 unknown, 3 not collected", expected="", remedy="")
    heads = [line for line in findings_text([absent, other, row()]) if line and not line.startswith(" ")]
    assert [line.split()[1] for line in heads] == ["R17", "R44", "F8"]


def test_each_remedy_stands_under_its_own_places():
    lines = findings_text(
        [row(at=3, remedy="ask for the day"), row(at=5, seen="2031"), row(at=7, remedy="ask for the day")]
    )
    order = [line[4:8].strip() for line in lines if line[4:5].isdigit()]
    assert order == ["3, 7", "5"]
    marked = [line for line in lines if line.startswith("  > ")]
    assert marked == ["  > ask for the day", "  > correct one of the dates"]
    assert lines.index(marked[0]) < next(at for at, line in enumerate(lines) if line.startswith("    5"))


def test_findings_without_a_row_name_their_file():
    for severity in ("warning", "statement"):
        text = "\n".join(findings_text([row("R38", severity, at=None, field="", seen="", expected="")]))
        assert "occupant.csv" in text


def test_what_the_records_hold_cannot_move_the_terminal():
    lines = findings_text([row(seen="\x1b[31mred\u202egnirts\u200f\r\n\ttab", field="a\x00b")])
    text = "\n".join(lines)
    assert all(letter.isprintable() or letter == "\n" for letter in text)
    assert "[U+001B]" in text
    assert "[U+202E]" in text
    assert max(map(len, findings_text([row(seen="x" * 1_000_000)]))) <= 80


def test_an_empty_cell_is_told_and_nothing_is_told_of_nothing():
    assert "an empty cell" in "\n".join(findings_text([row(seen="")]))
    assert findings_text([]) == ["Nothing was found."]


TEXTS = st.text(max_size=120)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["R1", "R17", "F8", "T2", "M1"]),
            st.sampled_from(["error", "warning", "accepted", "statement"]),
            TEXTS,
            TEXTS,
            st.none() | st.integers(1, 10**7),
            TEXTS,
            TEXTS,
            TEXTS,
            TEXTS,
        ),
        max_size=6,
    ),
    st.integers(40, 120),
)
def test_no_line_is_wider_than_the_terminal(rows, width):
    assert max(map(columns, findings_text(rows, width=width))) <= width


def test_statements_that_say_the_same_of_several_columns_are_one():
    said = "not collected in the occupant table"
    rows = [("M7", "statement", "t", "mapping.toml", None, name, said, "", "") for name in ("sex", "role")]
    rows.append(
        ("M7", "statement", "t", "mapping.toml", None, "light", "not collected in the mishap table", "", "")
    )
    assert [line.strip() for line in findings_text(rows, width=100)[1:]] == [
        "mapping.toml, sex, role: not collected in the occupant table",
        "mapping.toml, light: not collected in the mishap table",
    ]
