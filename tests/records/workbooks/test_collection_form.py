"""Is the form made wholly from the codebook, does it let every legal value through, and is it read back as it was?"""

from __future__ import annotations

import ast
import datetime
import errno
import operator
import re
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from survstats.groundwork import whole_file
from survstats.groundwork.errors import PublishError
from survstats.records.codebook import TABLES, Field, load_codebook
from survstats.records.demo import demo_folder
from survstats.records.loading import Records, read_records
from survstats.records.workbooks.collection_form import KEYS, form_fields, write_form
from survstats.records.workbooks.form_columns import LISTS
from survstats.records.workbooks.glossary import choices

SHEETS = ["how to", "mishap", "roster", "occupant", "training_run", "request", "fields", LISTS]
TABLE_OF = {"mishap": "mishap", "roster": "occupant", "occupant": "occupant", "training_run": "training_run"}


@pytest.fixture(scope="module")
def form(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("form") / "form.xlsx"
    write_form(path)
    return path


@pytest.fixture(scope="module")
def book(form: Path) -> Any:
    return openpyxl.load_workbook(form)


@pytest.fixture(scope="module")
def small() -> Records:
    folder = demo_folder("demo_small")
    runs = folder / "training_run.csv"
    return read_records(
        folder / "mishap.csv", folder / "occupant.csv", training_run_path=runs if runs.exists() else None
    )


def columns() -> list[tuple[str, int, Field]]:
    return [(sheet, at, field) for sheet in KEYS for at, field in enumerate(form_fields(sheet), start=1)]


def rule_of(sheet: Any, letter: str) -> Any:
    [rule] = [
        rule for rule in sheet.data_validations.dataValidation if str(rule.sqref).startswith(f"{letter}2:")
    ]
    return rule


# ---- what it holds ----------------------------------------------------------------------------


def test_sheets_stand_in_the_order_of_work_and_the_lists_are_hidden(book: Any) -> None:
    assert book.sheetnames == SHEETS
    assert [sheet.title for sheet in book if sheet.sheet_state != "visible"] == [LISTS]


def test_heads_are_the_names_of_the_codebook_and_every_field_is_asked_once(book: Any) -> None:
    for sheet in KEYS:
        assert [cell.value for cell in book[sheet][1]] == [field.name for field in form_fields(sheet)]
    for table in TABLES:
        asked = [field.name for sheet, _, field in columns() if TABLE_OF[sheet] == table]
        keys = ["mishap_id", "occupant_id"] if table == "occupant" else []
        assert sorted(asked) == sorted([field.name for field in load_codebook().table(table)] + keys)


def test_training_is_asked_before_anything_that_tells_the_outcome() -> None:
    roster = [field.name for field in form_fields("roster")]
    assert {"training_ever", "training_type", "training_last_date", "training_evidence"} <= set(roster)
    assert not set(roster) & {
        "outcome",
        "injury_class_icao",
        "egress_outcome",
        "alive_at_immersion",
        "body_location",
    }


def test_required_heads_differ_in_type_and_line_not_in_colour(book: Any) -> None:
    for sheet, at, field in columns():
        head = book[sheet].cell(1, at)
        assert head.font.bold is field.required
        assert head.border.bottom.style == ("thick" if field.required else "thin")


def test_head_and_keys_stay_in_sight_and_on_every_printed_page(book: Any) -> None:
    for sheet, keys in KEYS.items():
        page = book[sheet]
        letter = "ABC"[keys - 1]
        assert page.freeze_panes == f"{'BCD'[keys - 1]}2"
        assert page.page_setup.orientation == "landscape"
        assert page.print_title_rows == "$1:$1"
        assert page.print_title_cols == f"$A:${letter}"


def test_the_glossary_holds_every_field_with_meaning_unit_values_and_empty_cell(book: Any) -> None:
    rows = {(row[0], row[1]): row[2:] for row in book["fields"].iter_rows(min_row=2, values_only=True)}
    for table in TABLES:
        for field in load_codebook().table(table):
            meaning, unit, allowed, empty, required = rows["roster" if field.roster else table, field.name]
            assert (meaning, unit or "") == (field.meaning, field.unit)
            assert all(value in allowed for value in field.values)
            assert empty == ("not collected" if "" in field.missing else "not allowed")
            assert required == ("yes" if field.required else "no")


# ---- what its cells let through ---------------------------------------------------------------

FUNCTIONS = {
    "AND": lambda *given: all(given),
    "OR": lambda *given: any(given),
    "EXACT": lambda one, other: isinstance(one, str) and one == other,
    "LEN": lambda text: len(text),
    "MID": lambda text, start, count: text[start - 1 : start - 1 + count],
    "INT": lambda number: number // 1,
    "ISNUMBER": lambda value: isinstance(value, int | float),
}
COMPARE = {ast.GtE: operator.ge, ast.LtE: operator.le, ast.Lt: operator.lt, ast.Eq: operator.eq}


def passes(formula: str, value: object) -> bool:
    """A slow reading of a spreadsheet's formula with one cell in it."""
    plain = re.sub(r"\b[A-Z]{1,2}2\b", "cell", formula)
    tree = ast.parse(re.sub(r"(?<![<>])=", "==", plain), mode="eval").body
    return bool(worth(tree, value))


def worth(node: ast.AST, value: Any) -> Any:
    match node:
        case ast.Name(id="cell"):
            return value
        case ast.Name(id="FALSE"):
            return False
        case ast.Constant(value=constant):
            return constant
        case ast.UnaryOp(operand=operand):
            return -worth(operand, value)
        case ast.Compare(left=left, ops=[op], comparators=[right]):
            return COMPARE[type(op)](worth(left, value), worth(right, value))
        case ast.Call(func=ast.Name(id="IF"), args=[condition, then, otherwise]):
            return worth(then if worth(condition, value) else otherwise, value)
        case ast.Call(func=ast.Name(id=name), args=args):
            return FUNCTIONS[name](*(worth(arg, value) for arg in args))
    raise AssertionError(ast.dump(node))


def as_typed(field: Field, text: str) -> Any:
    """What a spreadsheet holds when a person types the text."""
    if field.kind in ("integer", "number") and re.fullmatch(r"-?[0-9.]+", text):
        return float(text)
    if field.kind == "date" and text[:1].isdigit():
        return (datetime.date.fromisoformat(text) - datetime.date(1899, 12, 30)).days
    if field.kind == "time" and text[:1].isdigit():
        return (int(text[:2]) * 60 + int(text[3:5])) / 1440
    return text


def test_every_choice_and_nothing_else_is_offered(book: Any) -> None:
    for sheet, at, field in columns():
        rule = rule_of(book[sheet], book[sheet].cell(1, at).column_letter)
        assert (rule.type == "list") is bool(field.values)
        if field.values:
            _, place = rule.formula1.split("!")
            offered = tuple(cell.value for (cell,) in book[LISTS][place.replace("$", "")])
            assert offered == choices(field)
            assert set(offered) == set(field.values) | {token for token in field.missing if token}


def test_no_legal_value_is_turned_away(book: Any, small: Records) -> None:
    tried = 0
    for sheet, at, field in columns():
        rule = rule_of(book[sheet], book[sheet].cell(1, at).column_letter)
        assert rule.allow_blank is ("" in field.missing)
        if rule.type != "custom":
            continue
        texts = set(small.raw[TABLE_OF[sheet]][field.name]) | set(field.missing) - {""}
        values = [as_typed(field, text) for text in texts - {""}]
        values += [limit for limit in (field.minimum, field.maximum) if limit is not None]
        values += ["inf"] if field.open_ended else []
        values += {"date": ["2015-06-20", 42175], "time": ["14:05", "14:05:30Z", 0.0]}.get(field.kind, [])
        for value in values:
            assert passes(rule.formula1, value), (field.name, value)
        tried += len(values)
    assert tried > 500


def test_values_that_the_checks_refuse_are_turned_away_at_once(book: Any) -> None:
    for sheet, at, field in columns():
        rule = rule_of(book[sheet], book[sheet].cell(1, at).column_letter)
        if rule.type != "custom":
            continue
        wrong: list[object] = ["maybe", "Unknown", "20.06.15"]
        if field.minimum is not None and field.maximum is not None:
            wrong += [field.minimum - 1, field.maximum + 1]
        wrong += [1.5] if field.kind == "integer" else []
        wrong += ["inf"] if not field.open_ended else []
        wrong += [token for token in ("unknown", "na") if token not in field.missing]
        wrong += {"date": [42175.5], "time": [1.5, -0.1]}.get(field.kind, [])
        for value in wrong:
            assert not passes(rule.formula1, value), (field.name, value)


def test_help_tells_unit_and_meaning_within_what_a_workbook_holds(book: Any) -> None:
    for sheet, at, field in columns():
        rule = rule_of(book[sheet], book[sheet].cell(1, at).column_letter)
        assert len(rule.prompt) <= 255
        assert len(rule.promptTitle) <= 32
        assert len(rule.error) <= 225
        assert len(rule.formula1 or "") <= 255
        assert rule.showInputMessage
        assert field.meaning[:60] in rule.prompt
        assert (not field.unit) or len(field.meaning) > 200 or f"In {field.unit}." in rule.prompt


def test_codes_stay_texts(book: Any) -> None:
    for sheet in KEYS:
        for at, field in enumerate(form_fields(sheet), start=1):
            if field.kind == "text":
                letter = book[sheet].cell(1, at).column_letter
                dimension = next(
                    d
                    for d in book[sheet].column_dimensions.values()
                    if d.min <= at <= d.max or d.index == letter
                )
                assert dimension.number_format == "@"


# ---- the way back -----------------------------------------------------------------------------


def fill(form: Path, path: Path, records: Records, *, real_dates: bool) -> None:
    """Write records into the sheets as a person would who types them."""
    book = openpyxl.load_workbook(form)
    for sheet in KEYS:
        for row, texts in enumerate(records.raw[TABLE_OF[sheet]].to_dict("records"), start=2):
            for at, field in enumerate(form_fields(sheet), start=1):
                text = texts[field.name]
                value: Any = text or None
                if text and field.kind in ("integer", "number"):
                    value = as_typed(field, text)
                if text[:1].isdigit() and field.kind == "date" and real_dates:
                    value = datetime.date.fromisoformat(text)
                if text[:1].isdigit() and field.kind == "time" and real_dates:
                    value = datetime.time.fromisoformat(text)
                book[sheet].cell(row, at, value)
    book.save(path)


@pytest.mark.parametrize("real_dates", [True, False], ids=["real dates", "dates as texts"])
def test_a_filled_form_is_read_without_a_mapping_as_the_same_records(
    form: Path, tmp_path: Path, small: Records, real_dates: bool
) -> None:
    path = tmp_path / "filled.xlsx"
    fill(form, path, small, real_dates=real_dates)
    runs = path if len(small.training_run) else None
    back = read_records(path, path, training_run_path=runs)
    for table in TABLES:
        names = [field.name for field in load_codebook().table(table)]
        pd.testing.assert_frame_equal(back.table(table)[names], small.table(table)[names])
    assert not [f for f in back.findings if f.severity == "error"]
    assert not [f for f in back.findings if f.rule in ("F7", "F8")]


def test_every_choice_of_every_list_is_read_as_a_code(form: Path, tmp_path: Path, small: Records) -> None:
    """Filled by hand from the drop-down lists: row k takes the k-th choice of each."""
    path = tmp_path / "chosen.xlsx"
    fill(form, path, small, real_dates=True)
    book = openpyxl.load_workbook(path)
    for sheet in ("mishap", "roster", "occupant"):
        page = book[sheet]
        for at, field in enumerate(form_fields(sheet), start=1):
            if field.values:
                column = book[LISTS][
                    rule_of(page, page.cell(1, at).column_letter).formula1.split("!")[1].replace("$", "")
                ]
                for row in range(2, page.max_row + 1):
                    page.cell(row, at, column[(row - 2) % len(column)][0].value)
    book.save(path)
    back = read_records(path, path)
    assert not [f for f in back.findings if f.rule in ("F1", "F2", "F3", "F4", "F5", "F12")]
    assert set(back.occupant["age_band"].dropna()) == {
        *load_codebook().field("occupant", "age_band").values,
        "na",
    }


def test_an_empty_form_is_refused_as_records_in_a_sentence(form: Path) -> None:
    with pytest.raises(Exception, match="no rows"):
        read_records(form, form)


# ---- how it is written ------------------------------------------------------------------------


def test_a_file_that_is_there_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "form.xlsx"
    path.write_text("notes")
    with pytest.raises(PublishError) as told:
        write_form(path)
    assert told.value.reason == "file_exists"
    assert path.read_text() == "notes"
    path.unlink()
    path.symlink_to(tmp_path / "nowhere")
    with pytest.raises(PublishError):
        write_form(path)


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(PublishError) as told:
        write_form(tmp_path / "no" / "form.xlsx")
    assert told.value.reason == "no_parent"


@pytest.mark.parametrize(
    ("code", "reason"),
    [(errno.ENOSPC, "disk_full"), (errno.EACCES, "not_writable"), (errno.EIO, "not_written")],
)
def test_a_fault_while_writing_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, reason: str
) -> None:
    def fail(*_: object) -> None:
        raise OSError(code, "told by the system")

    monkeypatch.setattr(whole_file.os, "fsync", fail)
    with pytest.raises(PublishError) as told:
        write_form(tmp_path / "form.xlsx")
    assert told.value.reason == reason
    assert list(tmp_path.iterdir()) == []
