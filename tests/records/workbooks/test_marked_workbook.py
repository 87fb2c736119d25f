"""Does every finding lead to its cell, at the row of its file, and is all else left as it was read?"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from survstats.groundwork.errors import PublishError
from survstats.records.checking import check_records
from survstats.records.finding import Finding
from survstats.records.loading import Records, read_records
from survstats.records.workbooks.collection_form import write_form
from survstats.records.workbooks.marked import COLUMNS, FINDINGS, write_marked

TODAY = datetime.date(2026, 11, 24)


def marked(records: Records, path: Path, findings: list[Finding] | None = None) -> Any:
    write_marked(path, records, check_records(records, today=TODAY) if findings is None else findings)
    return openpyxl.load_workbook(path)


def cell_at(book: Any, link: str) -> Any:
    sheet, place = link.replace("'", "").split("!")
    return book[sheet][place]


def lines(book: Any) -> list[dict[str, Any]]:
    found = []
    for row in book[FINDINGS].iter_rows(min_row=2):
        line = dict(zip(COLUMNS, (cell.value for cell in row), strict=True))
        link = row[list(COLUMNS).index("field")].hyperlink
        found.append({**line, "link": link.location if link else None})
    return found


@pytest.fixture
def spoilt(study: Any) -> Records:
    people = study.people("M1", {"training_ever": "maybe"}, {"egress_hi_s": "-3", "suit_worn": "1"})
    return study.records([study.mishap(water_temp_c="-9")], people)  # type: ignore[no-any-return]


def test_every_cell_found_is_linked_framed_and_noted(spoilt: Records, tmp_path: Path) -> None:
    book = marked(spoilt, tmp_path / "found.xlsx")
    linked = [line for line in lines(book) if line["severity"] != "statement"]
    assert len(linked) >= 4
    for line in linked:
        cell = cell_at(book, line["link"])
        assert (cell.row, cell.parent.cell(1, cell.column).value) == (line["row"], line["field"])
        assert {cell.border.left.style, cell.border.top.style} == {"thick"}
        assert cell.fill.fill_type == "solid"
        assert line["rule"] in cell.comment.text
        assert line["remedy"] in cell.comment.text
        assert line["title"] in cell.comment.text


def test_nothing_else_is_marked(spoilt: Records, tmp_path: Path) -> None:
    book = marked(spoilt, tmp_path / "found.xlsx")
    expected = {line["link"] for line in lines(book) if line["severity"] != "statement"}
    noted = {
        f"'{sheet.title}'!{cell.coordinate}"
        for sheet in book.worksheets[1:]
        for row in sheet.iter_rows()
        for cell in row
        if cell.comment or (cell.border.left and cell.border.left.style)
    }
    assert noted == expected


def test_numbers_stay_numbers_and_all_else_stays_the_text_that_was_read(
    spoilt: Records, tmp_path: Path
) -> None:
    book = marked(spoilt, tmp_path / "found.xlsx")
    for table in ("mishap", "occupant"):
        sheet = book[f"{table} marked"]
        names = [cell.value for cell in sheet[1]]
        raw = spoilt.raw[table]
        assert {name for name in raw if (raw[name] != "").any()} <= set(names)
        for at, row in enumerate(spoilt.table(table)["file_row"]):
            for name, cell in zip(names, sheet[row], strict=True):
                text = raw[name].iat[at]
                if cell.data_type == "n" and cell.value is not None:
                    assert float(text) == cell.value
                else:
                    assert (cell.value or "") == text
    temperature = next(line for line in lines(book) if line["field"] == "water_temp_c")
    assert cell_at(book, temperature["link"]).value == -9


def test_rows_are_counted_as_in_the_file(study: Any, tmp_path: Path) -> None:
    study.records([study.mishap()], study.people("M1", {}, {}, {"training_ever": "maybe"}))
    header, *rest = study.occupant_path.read_text(encoding="utf-8").splitlines()
    study.occupant_path.write_text("\n".join([header, "", rest[0], "", "", *rest[1:]]), encoding="utf-8")
    records = read_records(study.mishap_path, study.occupant_path)
    book = marked(records, tmp_path / "found.xlsx")
    [line] = [line for line in lines(book) if line["rule"] == "F1"]
    assert line["row"] == 7
    assert cell_at(book, line["link"]).value == "maybe"
    assert cell_at(book, line["link"]).row == 7


def test_a_cell_of_the_roster_sheet_is_found_beside_its_person(study: Any, tmp_path: Path) -> None:
    """In the form the roster may stand in another order than the occupants."""
    path = tmp_path / "form.xlsx"
    write_form(path)
    form = openpyxl.load_workbook(path)
    form["mishap"].append([study.mishap().get(cell.value) for cell in form["mishap"][1]])
    people = study.people("M1", {"training_ever": "maybe"})
    for sheet, order in (("occupant", people), ("roster", people[::-1])):
        for person in order:
            form[sheet].append([person.get(cell.value) for cell in form[sheet][1]])
    form.save(path)
    book = marked(read_records(path, path), tmp_path / "found.xlsx")
    [line] = [line for line in lines(book) if line["rule"] == "F1"]
    assert (line["file"], line["row"]) == ("form.xlsx, sheet roster", 4)
    cell = cell_at(book, line["link"])
    assert (cell.value, cell.row, cell.parent.cell(cell.row, 2).value) == ("maybe", 2, "0")


def test_findings_without_a_cell_are_listed_without_a_link(study: Any, tmp_path: Path) -> None:
    records = study.records([study.mishap()], study.people())
    findings = [
        Finding("F7", "warning", "occupant.csv", 1, "no_such_field", "x", "y", "z"),
        Finding("R45", "statement", "occupant.csv", None, "", "none", "", ""),
        Finding("R7", "warning", "other.csv", 2, "sea_state_wmo", "x", "y", "z"),
        Finding("R7", "warning", "mishap.csv", 99, "sea_state_wmo", "x", "y", "z"),
    ]
    assert [line["link"] for line in lines(marked(records, tmp_path / "found.xlsx", findings))] == [None] * 4


def test_an_earlier_workbook_of_findings_is_replaced_and_nothing_else(
    spoilt: Records, tmp_path: Path
) -> None:
    path = tmp_path / "found.xlsx"
    marked(spoilt, path)
    marked(spoilt, path, [])
    assert lines(openpyxl.load_workbook(path)) == []
    write_form(tmp_path / "form.xlsx")
    (tmp_path / "text.xlsx").write_text("notes")
    (tmp_path / "zip.xlsx").write_bytes(b"PK\x03\x04broken")
    for name in ("form.xlsx", "text.xlsx", "zip.xlsx"):
        before = (tmp_path / name).read_bytes()
        with pytest.raises(PublishError) as told:
            marked(spoilt, tmp_path / name)
        assert told.value.reason == "file_exists"
        assert (tmp_path / name).read_bytes() == before


def test_the_workbook_is_never_taken_for_the_records(spoilt: Records, tmp_path: Path) -> None:
    book = marked(spoilt, tmp_path / "found.xlsx")
    assert book.sheetnames == [FINDINGS, "mishap marked", "occupant marked"]


@pytest.mark.parametrize("text", ["=1+1", "@x", "#N/A", "\u202eabc", "x" * 100_000, "<b>", "../../x", "+1-1"])
def test_texts_of_the_records_do_nothing_in_a_cell(study: Any, tmp_path: Path, text: str) -> None:
    people = study.people("M1", {"exit_used": text, "training_ever": text, "occupant_id": text})
    book = marked(study.records([study.mishap(report_source=text)], people), tmp_path / "found.xlsx")
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert not [cell.coordinate for cell in cells if cell.data_type in ("f", "e")]
    assert not [cell.coordinate for cell in cells if "\u202e" in str(cell.value)]
    assert max(len(str(cell.value)) for cell in cells) <= 32_767
    if len(text) < 20 and "\u202e" not in text:
        assert sum(cell.value == text for cell in cells) >= 5
