import datetime
import io
from decimal import Decimal

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from survstats.groundwork.errors import RecordsError
from survstats.records.reading.tables import read_text_table


def read(tmp_path, **columns):
    data = io.BytesIO()
    pq.write_table(pa.table(columns), data)
    path = tmp_path / "t.parquet"
    path.write_bytes(data.getvalue())
    return read_text_table(path)


@pytest.mark.parametrize(
    ("array", "texts"),
    [
        (pa.array([" a ", None, ""]), ["a", "", ""]),
        (pa.array(["a", None, "a"]).dictionary_encode(), ["a", "", "a"]),
        (pa.array(["a", None, "b"], pa.large_string()), ["a", "", "b"]),
        (pa.array([1, None, -2]), ["1", "", "-2"]),
        (pa.array([1.0, float("nan"), 0.1]), ["1", "", "0.1"]),
        (pa.array(np.array([0.1, 2.5, -0.0], dtype=np.float32)), ["0.1", "2.5", "0"]),
        (pa.array([float("inf"), None, 1e-7]), ["inf", "", "0.0000001"]),
        (pa.array([Decimal("1.50"), None, Decimal(2)], pa.decimal128(5, 2)), ["1.50", "", "2.00"]),
        (pa.array([True, None, False]), ["true", "", "false"]),
        (pa.array([datetime.date(2015, 6, 20), None, None]), ["2015-06-20", "", ""]),
        (
            pa.array([datetime.datetime(2015, 6, 20), datetime.datetime(2015, 6, 20, 4, 5), None]),
            ["2015-06-20", "2015-06-20 04:05:00", ""],
        ),
        (pa.array([datetime.time(9, 30), datetime.time(9, 30, 5), None]), ["09:30", "09:30:05", ""]),
        (pa.nulls(3), ["", "", ""]),
    ],
)
def test_values_become_texts(array, texts, tmp_path):
    table = read(tmp_path, key=["1", "2", "3"], column=array)
    assert table.cells["column"].tolist() == texts
    assert table.rows == (2, 3, 4)


def test_rows_without_any_value_are_left_out_and_do_not_move_the_others(tmp_path):
    table = read(tmp_path, a=["x", None, "y"], b=[None, None, 1.5])
    assert (table.rows, table.cells.to_dict("list")) == ((2, 4), {"a": ["x", "y"], "b": ["", "1.5"]})


@pytest.mark.parametrize(
    ("columns", "reason"),
    [
        ({"a": [[1], [2]]}, "nested_column"),
        ({"a": [{"x": 1}]}, "nested_column"),
        ({"a": [b"bytes"]}, "nested_column"),
        ({"a": pa.array([], pa.string())}, "no_rows"),
        ({"a": [None, None]}, "no_rows"),
        ({" ": ["1"]}, "no_column_name"),
        ({"a": ["1"], "a ": ["2"]}, "repeated_column"),
        ({"a": ["x\x00y"]}, "control_character"),
        ({"a": pa.array([b"\xff\xfe"]).view(pa.string())}, "bad_parquet"),
    ],
)
def test_what_is_no_table_is_refused(columns, reason, tmp_path):
    with pytest.raises(RecordsError, match=r"t\.parquet") as caught:
        read(tmp_path, **columns)
    assert caught.value.reason == reason
