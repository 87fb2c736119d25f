import datetime
import io
import zipfile

import openpyxl
import pytest
from openpyxl.worksheet.table import Table
from rewritten import with_parts_changed, with_shared_texts

from survstats.groundwork.errors import RecordsError
from survstats.records.reading.tables import read_text_table
from survstats.records.reading.workbook import LARGEST_BYTES

HEADER = (
    "mishap_id",
    "event_date",
    "event_time_utc",
    "n_crew",
    "water_temp_c",
    "floats_fitted",
    "report_source",
)


@pytest.fixture
def book():
    book = openpyxl.Workbook()
    book.active.title = "Mishap"
    book.active.append(HEADER)
    return book


def read(book, tmp_path, **options):
    path = tmp_path / "records.xlsx"
    if isinstance(book, bytes):
        path.write_bytes(book)
    else:
        book.save(path)
    return read_text_table(path, **options)


def reason(book, tmp_path, **options):
    with pytest.raises(RecordsError) as caught:
        read(book, tmp_path, **options)
    assert "records.xlsx" in caught.value.plain
    return caught.value.reason


def inline(book):
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def saved(book):
    return with_shared_texts(inline(book))


def test_cells_become_texts_as_a_person_would_write_them(book, tmp_path):
    sheet = book.active
    sheet.append(("M1", datetime.date(2015, 6, 20), datetime.time(9, 30), 2, 9.3, True, " a\nb "))
    sheet.append((7, datetime.datetime(2015, 6, 20), datetime.time(9, 30, 5), 2.0, 0.3, "yes", "<b>"))
    sheet.append((7.5, datetime.datetime(2015, 6, 20, 4, 5), None, -3, 1e-7, None, "_x0041_"))
    table = read(book, tmp_path, table="mishap")
    assert table.file == "records.xlsx, sheet Mishap"
    assert table.rows == (2, 3, 4)
    assert table.cells.to_numpy().tolist() == [
        ["M1", "2015-06-20", "09:30", "2", "9.3", "true", "a\nb"],
        ["7", "2015-06-20", "09:30:05", "2", "0.3", "yes", "<b>"],
        ["7.5", "2015-06-20 04:05:00", "", "-3", "0.0000001", "", "A"],
    ]
    assert not table.findings


@pytest.mark.parametrize("epoch", [openpyxl.utils.datetime.WINDOWS_EPOCH, openpyxl.utils.datetime.MAC_EPOCH])
def test_both_ways_of_counting_days(epoch, book, tmp_path):
    book.epoch = epoch
    book.active.append(("M1", datetime.date(2015, 6, 20)))
    assert read(book, tmp_path, table="mishap").cells["event_date"].tolist() == ["2015-06-20"]


def test_a_half_converted_column_of_dates_is_an_error(book, tmp_path):
    book.active.append(("M1", datetime.date(2015, 3, 4)))
    book.active.append(("M2", "25/03/2015"))
    errors = [f for f in read(book, tmp_path, table="mishap").findings if f.severity == "error"]
    assert [(f.rule, f.row, f.field, f.seen) for f in errors] == [("F3", 3, "event_date", "25/03/2015")]
    assert "1 cells of this column are dates" in errors[0].expected


def test_formulas_and_error_values_are_errors_not_empty_cells(book, tmp_path):
    book.active.append(("M1", "2015-06-20", None, "=1+1", "#N/A", None, '=HYPERLINK("x")'))
    book.active.cell(1, 8, "not ours")
    book.active.cell(2, 8, "=2")
    table = read(book, tmp_path, table="mishap")
    assert [(f.rule, f.severity, f.row, f.field, f.seen) for f in table.findings] == [
        ("F13", "error", 2, "n_crew", "=1+1"),
        ("F13", "error", 2, "water_temp_c", "#N/A"),
        ("F13", "error", 2, "report_source", '=HYPERLINK("x")'),
    ]
    assert len(read(book, tmp_path).findings) == 4


def test_a_number_stored_with_every_digit_reads_as_it_was_entered(book, tmp_path):
    book.active.append(("M1", None, None, None, 9.5))
    data = with_parts_changed(inline(book), lambda _name, xml: xml.replace(">9.5<", ">9.3000000000000007<"))
    assert read(data, tmp_path, table="mishap").cells["water_temp_c"].tolist() == ["9.3"]


def test_hidden_blank_and_ragged_rows(book, tmp_path):
    sheet = book.active
    sheet["A3"], sheet["A5"], sheet["G5"] = "M1", "M2", "x"
    sheet["J9"] = " "
    sheet.row_dimensions[3].hidden = True
    sheet.column_dimensions["A"].hidden = True
    table = read(book, tmp_path, table="mishap")
    assert (table.rows, table.cells["mishap_id"].tolist()) == ((3, 5), ["M1", "M2"])
    assert table.cells["report_source"].tolist() == ["", "x"]


@pytest.mark.parametrize(
    ("reach", "refused"), [("A1:B1", True), ("D2:D3", True), ("J1:K1", False), ("A90:B91", False)]
)
def test_merged_cells_among_the_records_are_refused(reach, refused, book, tmp_path):
    book.active.append(("M1", "2015-06-20", None, 1))
    book.active.merge_cells(reach)
    if refused:
        assert reason(book, tmp_path, table="mishap") == "merged_cells"
        with pytest.raises(RecordsError, match=f"sheet Mishap, has merged cells .{reach}"):
            read(book, tmp_path, table="mishap")
    else:
        assert read(book, tmp_path, table="mishap").rows == (2,)


def test_which_sheet(book, tmp_path):
    book.active.append(("M1",))
    assert read(book, tmp_path).cells["mishap_id"].tolist() == ["M1"]
    assert read(book, tmp_path, table="occupant").cells["mishap_id"].tolist() == ["M1"]  # the only sheet
    book.create_sheet("Old").append(("a",))
    book["Old"].append(("1",))
    assert read(book, tmp_path, table="mishap").file.endswith("sheet Mishap")
    assert read(book, tmp_path, table="mishap", sheet="old").cells.to_dict("list") == {"a": ["1"]}
    assert reason(book, tmp_path) == "no_sheet"
    assert reason(book, tmp_path, table="occupant") == "no_sheet"
    assert reason(book, tmp_path, sheet="new") == "no_sheet"


def test_what_is_no_table_on_a_sheet(book, tmp_path):
    assert reason(book, tmp_path, table="mishap") == "no_rows"
    book.active["A2"], book.active["H2"] = "M1", "beyond the header"
    assert reason(book, tmp_path, table="mishap") == "long_row"
    book.active["H2"], book.active["J1"] = None, "after a gap"
    assert reason(book, tmp_path, table="mishap") == "no_column_name"
    book.active["J1"] = "mishap_id"
    book.active["H1"], book.active["I1"] = "x", "y"
    assert reason(book, tmp_path, table="mishap") == "repeated_column"


def test_a_table_object_data_validation_and_comments_do_not_matter(book, tmp_path):
    book.active.append(("M1", "2015-06-20", "x", 1, 2, "yes", "r"))
    book.active.add_table(Table(displayName="Records", ref="A1:G2"))
    book.active["A2"].comment = openpyxl.comments.Comment("a note", "somebody")
    assert read(book, tmp_path, table="mishap").rows == (2,)


@pytest.mark.parametrize(
    ("part", "change"),
    [
        ("xl/worksheets/sheet1.xml", lambda xml: "<!DOCTYPE x [<!ENTITY a 'b'>]>" + xml),
        ("xl/worksheets/sheet1.xml", lambda xml: xml.replace('r="A2"', 'r="A3"')),
        (
            "xl/worksheets/sheet1.xml",
            lambda xml: xml.replace('r="2"', 'r="99999999"').replace("A2", "A99999999"),
        ),
        ("xl/worksheets/sheet1.xml", lambda xml: xml.replace('r="2"', 'r="1"').replace("A2", "A1")),
        ("xl/worksheets/sheet1.xml", lambda xml: xml.replace("<v>7</v>", "<v>99</v>")),
        ("xl/worksheets/sheet1.xml", lambda xml: xml[: len(xml) // 2]),
        ("xl/workbook.xml", lambda xml: xml.replace("rId1", "rId77")),
        ("xl/sharedStrings.xml", lambda xml: xml[:0]),
        ("_rels/.rels", lambda xml: xml.replace("officeDocument", "other")),
    ],
)
def test_a_workbook_that_contradicts_itself_is_refused(part, change, book, tmp_path):
    book.active.append(("M1",))
    data = with_parts_changed(saved(book), lambda name, xml: change(xml) if name == part else xml)
    assert reason(data, tmp_path, table="mishap") == "bad_workbook"


def test_phonetic_guides_and_runs_of_type(book, tmp_path):
    book.active.append(("placeholder",))
    rich = "<si><r><t>M</t></r><r><t>1</t></r><rPh sb='0' eb='1'><t>em</t></rPh></si>"
    plain = "<si><t>placeholder</t></si>"
    data = with_parts_changed(saved(book), lambda _name, xml: xml.replace(plain, rich))
    assert read(data, tmp_path, table="mishap").cells["mishap_id"].tolist() == ["M1"]


@pytest.mark.parametrize("text", ["_x0001_", "a_x001F_b"])
def test_control_characters_in_a_cell_are_refused(text, book, tmp_path):
    book.active.append(("M1",))
    for data in (inline(book), saved(book)):
        data = with_parts_changed(data, lambda _name, xml: xml.replace(">M1<", f">{text}<"))
        assert reason(data, tmp_path, table="mishap") == "control_character"


def test_a_workbook_that_would_unpack_to_too_much_is_refused_unread(book, tmp_path, monkeypatch):
    book.active.append(("M1",))
    size = zipfile.ZipFile.infolist

    def swollen(self):
        entries = size(self)
        entries[0].file_size = LARGEST_BYTES + 1
        return entries

    monkeypatch.setattr(zipfile.ZipFile, "infolist", swollen)
    assert reason(book, tmp_path, table="mishap") == "too_large"
