import contextlib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rewritten import as_xlsx, texts

from survstats.groundwork.errors import RecordsError
from survstats.records.codebook import load_codebook
from survstats.records.loading import read_records
from survstats.records.reading.study_folder import find_tables

TOKENS = ["", "unknown", "na"]


def errors(records):
    return [f for f in records.findings if f.severity == "error"]


def one(study, **changes):
    return study.records([study.mishap()], study.people("M1", changes))


@pytest.mark.parametrize("field", ["ebs_used", "harness", "cause_of_death"])
def test_empty_unknown_and_na_stay_three_things_in_a_category(study, field):
    records = study.records([study.mishap()], study.people("M1", *({field: token} for token in TOKENS)))
    column = records.occupant[field]
    assert isinstance(column.dtype, pd.CategoricalDtype)
    assert column.isna().tolist() == [True, False, False]
    assert column.tolist()[1:] == ["unknown", "na"]
    assert not column.eq("no").any()
    assert not errors(records)


@pytest.mark.parametrize("field", ["n_prior_courses", "exit_distance_m", "training_last_date"])
def test_in_numbers_and_dates_the_text_tells_which(study, field):
    changes = [{field: token, "training_ever": "unknown"} for token in TOKENS]
    records = study.records([study.mishap()], study.people("M1", *changes))
    assert records.occupant[field].isna().all()
    assert records.raw["occupant"][field].tolist() == TOKENS
    assert not errors(records)


@pytest.mark.parametrize("word", ["0", "1", "TRUE", "false", "Y"])
def test_a_tri_state_is_never_a_number_or_truth_value(study, word):
    found = errors(one(study, suit_worn=word))
    assert [(f.rule, f.row, f.field, f.seen) for f in found] == [("F5", 2, "suit_worn", word)]


@pytest.mark.parametrize(
    ("changes", "rule", "hint"),
    [
        ({"role": "pasenger"}, "F1", "passenger"),
        ({"role": "Flight crew"}, "F1", "flight_crew"),
        ({"exit_distance_m": "2,5"}, "F2", "2.5"),
        ({"seats_to_exit": "1.5"}, "F2", "number"),
        ({"exit_distance_m": "1e3"}, "F2", "number"),
        ({"exit_distance_m": "inf"}, "F2", "number"),
        ({"egress_hi_s": "9" * 400}, "F2", "number"),
        ({"seats_to_exit": "9" * 5000}, "F2", "number"),
        ({"seats_to_exit": "１"}, "F2", "number"),
        ({"training_last_date": "2015-02-30"}, "F3", "rewrite"),
        ({"exit_distance_m": "1,250"}, "F2", "1250"),
        ({"training_last_date": "04/06/2014"}, "F3", "YYYY-MM-DD"),
        ({"training_last_date": "20/06/14"}, "F3", "rewrite"),
        ({"training_last_date": "2014"}, "F3", "precision"),
        ({"outcome": ""}, "F4", "enter"),
        ({"outcome": "unknown"}, "F4", "enter"),
    ],
)
def test_a_wrong_cell_is_an_error_with_a_hint_and_is_not_read(study, changes, rule, hint):
    records = one(study, **changes)
    ((field, text),) = changes.items()
    (found,) = errors(records)
    assert (found.rule, found.file, found.row, found.field, found.seen) == (
        rule,
        "occupant.csv",
        2,
        field,
        text,
    )
    assert hint in found.remedy
    assert records.occupant[field].isna().tolist()[0]
    assert records.raw["occupant"][field].tolist()[0] == text


def test_an_open_end_is_a_number(study):
    records = one(study, egress_hi_s="inf")
    assert np.isinf(records.occupant["egress_hi_s"].iat[0])
    assert not errors(records)


def test_all_wrong_cells_at_once(study):
    records = study.records(
        [study.mishap(n_crew="two", light="dark", event_date="2015-13-01")],
        study.people("M1", {"role": "pilot"}, {"sex": "x"}, {"seat_row": "A"}),
    )
    assert len(errors(records)) == 6


def test_a_missing_column_is_named_with_the_one_that_was_meant(study):
    one(study)
    text = study.occupant_path.read_text().replace("training_ever", "training_evr", 1)
    study.occupant_path.write_text(text)
    with pytest.raises(RecordsError, match="lacks the column training_ever") as caught:
        read_records(study.mishap_path, study.occupant_path)
    assert caught.value.reason == "missing_column"
    assert "training_evr looks like training_ever" in caught.value.remedy


def test_what_stands_in_the_file_is_kept_beside_what_was_read(study):
    study.records(
        [study.mishap(water_temp_c="9,5", sig_wave_height_m="2,0", event_date="20.06.2015")],
        study.people("M1", {"role": "pilot"}),
    )
    for path in (study.mishap_path, study.occupant_path):
        frame = texts(path)
        frame.to_csv(path, sep=";", index=False)
    records = read_records(study.mishap_path, study.occupant_path)
    assert records.place("mishap", "water_temp_c", 0) == ("mishap.csv", 2, "water_temp_c", "9,5")
    assert records.place("mishap", "event_date", 0) == ("mishap.csv", 2, "event_date", "20.06.2015")
    assert records.raw["mishap"][["event_date", "water_temp_c"]].iloc[0].tolist() == ["2015-06-20", "9.5"]
    assert records.mishap["water_temp_c"].tolist() == [9.5]
    statements = [(f.rule, f.file) for f in records.findings if f.severity == "statement"]
    assert statements == [
        ("F9", "mishap.csv"),
        ("F10", "mishap.csv"),
        ("F11", "mishap.csv"),
        ("F9", "occupant.csv"),
    ]
    assert [(f.rule, f.seen) for f in errors(records)] == [("F1", "pilot")]


def test_a_wrong_cell_is_shown_as_it_stands_in_the_file(study):
    study.records([study.mishap(event_date="31.02.2015")], study.people())
    (found,) = errors(read_records(study.mishap_path, study.occupant_path))
    assert (found.rule, found.seen) == ("F3", "31.02.2015")


@pytest.mark.parametrize(
    ("names", "found"),
    [
        (
            ["mishap.csv", "mishap.parquet", "occupant.parquet"],
            {"mishap": "mishap.csv", "occupant": "occupant.parquet"},
        ),
        (
            ["occupant.xlsx", "training_run.csv"],
            {"occupant": "occupant.xlsx", "training_run": "training_run.csv"},
        ),
        ([], {}),
    ],
)
def test_tables_are_found_by_their_names(names, found, tmp_path):
    for name in names:
        (tmp_path / name).write_bytes(b"PK")
    if "occupant.xlsx" in names:
        (tmp_path / "occupant.xlsx").write_bytes(as_xlsx({"mishap ": pd.DataFrame({"a": ["1"]})}))
        found = {"mishap": "occupant.xlsx", **found}
    assert {table: path.name for table, path in find_tables(tmp_path).items()} == found


def test_two_workbooks_with_the_same_sheet_are_not_chosen_between(tmp_path):
    for name in ("a.xlsx", "b.xlsx"):
        (tmp_path / name).write_bytes(as_xlsx({"mishap": pd.DataFrame({"a": ["1"]})}))
    with pytest.raises(RecordsError, match=r"a\.xlsx and b\.xlsx"):
        find_tables(tmp_path)


def test_a_column_not_in_the_file_is_not_collected_and_an_unknown_one_is_warned_of(study):
    one(study)
    text = study.mishap_path.read_text().replace("wind_kt", "wind_kts", 1)
    study.mishap_path.write_text(text)
    records = read_records(study.mishap_path, study.occupant_path)
    found = {(f.rule, f.severity, f.field) for f in records.findings}
    assert found == {("F7", "warning", "wind_kts"), ("F8", "statement", "wind_kt")}
    assert records.raw["mishap"]["wind_kt"].tolist() == [""]
    assert records.mishap["wind_kt"].isna().all()


def test_every_codebook_field_is_there_with_its_type(study):
    records = one(study)
    kinds = {"tri_state": "category", "category": "category", "integer": "float64", "number": "float64"}
    kinds |= {"date": "datetime64[ns]", "text": "object", "time": "object"}
    for table, frame in (("mishap", records.mishap), ("occupant", records.occupant)):
        for field in load_codebook().table(table):
            assert str(frame[field.name].dtype) == kinds[field.kind], field.name
    assert records.occupant["file_row"].tolist() == [2, 3, 4]


@settings(max_examples=150, deadline=None, derandomize=True, database=None)
@given(cut=st.integers(0, 1500), insert=st.binary(max_size=3), at=st.integers(0, 1500))
def test_no_spoilt_file_raises_anything_but_our_own(study_once, cut, insert, at):
    study_once.records([study_once.mishap()], study_once.people())
    whole = study_once.occupant_path.read_bytes()
    spoilt = (whole[:at] + insert + whole[at:])[: max(cut, 0) or None]
    study_once.occupant_path.write_bytes(spoilt)
    with contextlib.suppress(RecordsError):
        read_records(study_once.mishap_path, study_once.occupant_path)
