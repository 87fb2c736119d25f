import pytest

from survstats.groundwork.errors import RecordsError
from survstats.records.reading import read_text_table

BAD = {
    "empty_file": b"",
    "empty_file ": b" \n\n",
    "no_rows": b"a,b\n",
    "no_rows ": b"a,b\n,\n\n",
    "binary_file": b"\x89PNG\r\n\x1a\n\x00\x00",
    "binary_file ": b"PK\x03\x04abc",
    "binary_file  ": "a,b\n1,2\n".encode("utf-16"),
    "binary_file   ": b"a,b\n1,\x002\n",
    "not_utf8": "a,b\n1,é\n".encode("latin-1"),
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


@pytest.mark.parametrize("folder_instead", [True, False])
def test_no_file(folder_instead, tmp_path):
    if folder_instead:
        (tmp_path / "mishap.csv").mkdir()
    with pytest.raises(RecordsError, match=r"mishap\.csv") as caught:
        read_text_table(tmp_path / "mishap.csv")
    assert caught.value.reason == "missing_file"


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
