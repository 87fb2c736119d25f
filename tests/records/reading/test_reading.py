import os

import pytest

from survstats.groundwork.errors import RecordsError
from survstats.records.loading import read_records
from survstats.records.reading.tables import read_text_table

BAD = {
    "empty_file": b"",
    "empty_file ": b" \n\n",
    "no_rows": b"a,b\n",
    "no_rows ": b"a,b\n,\n\n",
    "binary_file": b"\x89PNG\r\n\x1a\n\x00\x00",
    "utf16_without_mark": "a,b\n1,2\n".encode("utf-16-le"),
    "utf16_without_mark ": "a,b\n1,é\n".encode("utf-16-be"),
    "long_cell": b"a,b\n1," + b"x" * 131_073 + b"\n",
    "no_column_name ": b"a,\n1,2\n",
    "no_column_name  ": b"Mishap,,Person,\na,b,c,d\n1,2,3,4\n",
    "binary_file ": b"a,b\n1,\x002\n",
    "bad_workbook": b"PK\x03\x04abc",
    "old_workbook": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
    "bad_parquet": b"PAR1abc",
    "undecodable": b"a,b\n1,\x81\n",
    "undecodable ": "a,b\n1,é\n".encode("utf-16")[:-1],
    "undecodable  ": "a,b\né,é\n".encode() + b"\xe9,2\n",
    "short_row": b"a,b\n1,2\n3\n",
    "long_row": b"a,b\n1,2\n3,4,5\n",
    "repeated_column": b"a,b,a\n1,2,3\n",
    "no_column_name": b"a,,c\n1,2,3\n",
    "not_csv": b'a,b\n1,"2\n',
    "not_csv ": b'a,b\n1,"2"x\n',
}


@pytest.mark.parametrize("case", BAD)
def test_what_is_no_table_is_refused_in_one_sentence(case, tmp_path):
    path = tmp_path / "mishap.csv"
    path.write_bytes(BAD[case])
    with pytest.raises(RecordsError) as caught:
        read_text_table(path)
    assert caught.value.reason == case.strip()
    assert "mishap.csv" in caught.value.plain
    assert caught.value.remedy
    assert str(tmp_path) not in str(caught.value)


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        (lambda _path: None, "missing_file"),
        (lambda path: path.symlink_to(path.parent / "gone"), "missing_file"),
        (lambda path: path.mkdir(), "not_a_file"),
        (lambda path: os.mkfifo(path), "not_a_file"),
        (lambda path: path.symlink_to("/dev/zero"), "not_a_file"),
    ],
    ids=["nothing", "dangling link", "folder", "pipe", "device"],
)
@pytest.mark.parametrize("read", [read_text_table, lambda path: read_records(path, path)])
def test_what_is_no_ordinary_file_is_not_opened(read, make, reason, tmp_path):
    make(tmp_path / "mishap.csv")
    with pytest.raises(RecordsError, match=r"mishap\.csv") as caught:
        read(tmp_path / "mishap.csv")
    assert caught.value.reason == reason
    assert ("study file" in caught.value.remedy) == (read is not read_text_table and reason == "missing_file")


def test_the_row_of_an_open_quotation_mark_is_named(tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes(b'a,b\n1,"2"\n3,"4\n5,6\n7,8\n')
    with pytest.raises(RecordsError, match=r"t\.csv, row 3: a quotation mark is not closed"):
        read_text_table(path)


@pytest.mark.parametrize("data", [b"a,b\n\xc3\xa9,1\n\xe9,3\n", b"a,b\n\x81,1\n"])
def test_where_the_encoding_is_in_doubt_the_remedy_says_what_settles_it(data, tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes(data)
    with pytest.raises(RecordsError) as caught:
        read_text_table(path)
    assert "encoding in mapping.toml" in caught.value.remedy
    assert len(read_text_table(path, encoding="latin-1").rows) > 0


@pytest.mark.parametrize("options", [{}, {"delimiter": ";"}])
def test_a_first_line_that_states_the_separator_is_understood_and_said(options, tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes(b"sep=;\r\na;b\r\n1,5;2\r\n")
    table = read_text_table(path, **options)
    assert table.cells.to_dict("list") == {"a": ["1,5"], "b": ["2"]}
    assert table.rows == (3,)
    assert [(f.rule, f.seen) for f in table.findings] == [("F9", "a first line that states semicolons")]


def test_a_separator_at_the_end_of_each_line_is_left_out_and_said(tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes(b"a,b,,\n1,2,,\n3,,,\n")
    table = read_text_table(path)
    assert table.cells.to_dict("list") == {"a": ["1", "3"], "b": ["2", ""]}
    assert [f.seen for f in table.findings] == ["2 separators at the end of each line"]


def test_a_header_of_two_rows_is_told(tmp_path):
    path = tmp_path / "mishap.csv"
    path.write_bytes(b"Code,Day,Water\nmishap_id,event_date,water_temp_c\nM1,2015-06-20,9\n")
    with pytest.raises(RecordsError, match="row 2, names columns") as caught:
        read_text_table(path, table="mishap")
    assert caught.value.reason == "two_headers"


def test_a_short_row_is_named_as_a_spreadsheet_counts(tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes(b'a,b\n"two\nlines",2\n\n,\n3\n')
    with pytest.raises(RecordsError, match="row 5"):
        read_text_table(path)


def test_a_mark_at_the_start_blanks_and_empty_lines_are_harmless(tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes(b"\xef\xbb\xbf a ,b\r\n 1 ,x y\r\n,\r\n2,\r\n")
    table = read_text_table(path)
    assert table.cells.to_dict("list") == {"a": ["1", "2"], "b": ["x y", ""]}
    assert table.rows == (2, 4)


@pytest.mark.parametrize(
    ("encoding", "delimiter", "said"),
    [
        ("utf-8", ",", None),
        ("utf-8-sig", ",", None),
        ("utf-8", ";", "semicolons between the cells"),
        ("utf-8", "|", "vertical bars between the cells"),
        ("utf-16", ",", "text in UTF-16"),
        ("windows-1252", "\t", "text in Windows-1252 and tabs between the cells"),
    ],
)
def test_encoding_and_separator_are_found_out_and_said(encoding, delimiter, said, tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes("a,b\nå,1\n€,x\n".replace(",", delimiter).encode(encoding))
    table = read_text_table(path)
    assert table.cells.to_dict("list") == {"a": ["å", "€"], "b": ["1", "x"]}
    assert [(f.rule, f.severity, f.seen) for f in table.findings] == (
        [("F9", "statement", said)] if said else []
    )
    again = read_text_table(path, encoding=encoding, delimiter=delimiter)
    assert again.cells.equals(table.cells)
    assert not again.findings


def test_a_damaged_letter_in_a_utf8_file_names_its_row(tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes("a,b\né,1\né,2\n".encode() + b"\xe9,3\n")
    with pytest.raises(RecordsError, match="row 4") as caught:
        read_text_table(path)
    assert caught.value.reason == "undecodable"


def test_names_of_ours_tell_the_separator_where_the_cells_do_not(tmp_path):
    path = tmp_path / "occupant.csv"
    path.write_bytes(b"mishap_id;occupant_id;exit_distance_m\na,1;b,1;2,5\na,2;b,2;3,5\n")
    assert list(read_text_table(path, table="occupant").cells) == [
        "mishap_id",
        "occupant_id",
        "exit_distance_m",
    ]


@pytest.mark.parametrize(
    ("options", "reason"),
    [
        ({"encoding": "utf-9"}, "unknown_encoding"),
        ({"encoding": "rot13"}, "undecodable"),
        ({"encoding": "ascii"}, "undecodable"),
        ({"delimiter": ";;"}, "not_csv"),
        ({"sheet": "records"}, "no_sheet"),
    ],
)
def test_what_was_said_of_the_file_and_is_not_so(options, reason, tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes("a;b\né;2\n".encode())
    with pytest.raises(RecordsError) as caught:
        read_text_table(path, **options)
    assert caught.value.reason == reason
