# ruff: noqa: E501
"""Is each bad input refused with one sentence that names the place and the remedy, and nothing left behind?"""

from __future__ import annotations

import os

import pytest
from thin import read_tables, write_tables

from survstats.cli.program import run_command


def lines(path):
    return path.read_text(encoding="utf-8").splitlines()


def cell(table, row, field, value):
    """Change one cell; ``row`` as a spreadsheet counts it."""

    def change(folder):
        tables = dict(zip(("mishap", "occupant"), read_tables(folder), strict=True))
        tables[table].loc[row - 2, field] = value
        write_tables(folder, (tables["mishap"], tables["occupant"]))

    return change


def bytes_of(name, make):
    return lambda folder: (folder / name).write_bytes(make((folder / name).read_bytes()))


def plan(old, new):
    return bytes_of("study.toml", lambda raw: raw.replace(old.encode(), new.encode(), 1))


def without_column(folder):
    mishap, occupant = read_tables(folder)
    write_tables(folder, (mishap, occupant.drop(columns="outcome")))


def column_twice(folder):
    path = folder / "mishap.csv"
    head, *rest = lines(path)
    path.write_text("\n".join([f"{head},light", *(f"{line},day" for line in rest)]) + "\n", encoding="utf-8")


def same_seat(folder):
    mishap, occupant = read_tables(folder)
    for field in ("seat_row", "seat_side", "mishap_id"):
        occupant.loc[1, field] = occupant.loc[0, field]
    write_tables(folder, (mishap, occupant))


BAD = {
    # what is done to a copy of demo_small, exit code, words that must be in the sentence
    "empty file": (bytes_of("occupant.csv", lambda _: b""), 1, ["occupant.csv is empty", "header"]),
    "blank file": (bytes_of("occupant.csv", lambda _: b"\n \n"), 1, ["occupant.csv is empty"]),
    "header only": (bytes_of("mishap.csv", lambda raw: raw.split(b"\n")[0]), 1, ["mishap.csv", "no rows", "at least one"]),
    "binary": (bytes_of("mishap.csv", lambda _: b"PK\x03\x04" + bytes(range(256))), 1, ["mishap.csv", "no sound XLSX workbook", "Save it again"]),
    "nul bytes": (bytes_of("occupant.csv", lambda raw: raw.replace(b"passenger", b"pass\x00nger", 1)), 1, ["occupant.csv", "not a text"]),
    "letters of two encodings": (bytes_of("occupant.csv", lambda raw: raw.replace(b"passenger", "p\u00e4ss".encode() + b"\xe4nger", 1)), 1, ["occupant.csv, row", "UTF-8"]),
    "another spelling": (bytes_of("occupant.csv", lambda raw: raw.replace(b"passenger", "pass\u00e4nger".encode("latin-1"), 1)), 1, ["occupant.csv, row", "pass\u00e4nger", "did you mean passenger?"]),
    "quote left open": (bytes_of("mishap.csv", lambda raw: raw.replace(b"VS-002", b'"VS-002', 1)), 1, ["mishap.csv, row 3", "quotation mark is not closed"]),
    "short row": (bytes_of("mishap.csv", lambda raw: raw.replace(b"VS-002,", b"VS-002", 1)), 1, ["mishap.csv, row 3", "too few cells"]),
    "missing column": (without_column, 1, ["occupant.csv", "lacks the column outcome", "Add"]),
    "column twice": (column_twice, 1, ["mishap.csv", "light", "twice"]),
    "misspelt code": (cell("occupant", 7, "outcome", "survved"), 1, ["occupant.csv, row 7, outcome", "survved", "did you mean survived"]),
    "truth for a tri-state": (cell("occupant", 7, "suit_worn", "1"), 1, ["occupant.csv, row 7, suit_worn", "yes, no"]),
    "future date": (cell("mishap", 4, "event_date", "2199-01-01"), 1, ["mishap.csv, row 4, event_date", "2199-01-01"]),
    "impossible date": (cell("mishap", 4, "event_date", "2019-02-30"), 1, ["mishap.csv, row 4, event_date", "2019-02-30", "YYYY-MM-DD"]),
    "date the other way round": (cell("mishap", 4, "event_date", "04/11/2019"), 1, ["mishap.csv, row 4, event_date", "YYYY-MM-DD"]),
    "two in one seat": (same_seat, 1, ["occupant.csv, row", "seat"]),
    "key twice": (cell("occupant", 3, "occupant_id", "01"), 1, ["occupant.csv, row 3", "01"]),
    "mishap twice": (cell("mishap", 3, "mishap_id", "VS-001"), 1, ["mishap.csv, row", "VS-001"]),
    "mishap of nobody knows": (cell("occupant", 3, "mishap_id", "VS-999"), 1, ["mishap.csv, row 2, n_aboard", "1 more", "survstats check"]),
    "negative time": (cell("occupant", 7, "egress_lo_s", "-3"), 1, ["occupant.csv, row 7, egress_lo_s", "-3"]),
    "text for a number": (cell("mishap", 4, "water_temp_c", "cold"), 1, ["mishap.csv, row 4, water_temp_c", "cold", "number"]),
    "comma for a point": (cell("mishap", 4, "water_temp_c", "9,5"), 1, ["mishap.csv, row 4, water_temp_c", "9.5"]),
    "boiling sea": (cell("mishap", 4, "water_temp_c", "95"), 1, ["mishap.csv, row 4, water_temp_c", "95"]),
    "infinite number": (cell("mishap", 4, "water_temp_c", "1e999"), 1, ["mishap.csv, row 4, water_temp_c"]),
    "required cell empty": (cell("occupant", 5, "occupant_id", ""), 1, ["occupant.csv, row 5, occupant_id"]),
    "records file missing": (lambda folder: (folder / "mishap.csv").unlink(), 1, ["mishap.csv", "no file"]),
    "records file a folder": (lambda folder: ((folder / "mishap.csv").unlink(), (folder / "mishap.csv").mkdir()), 1, ["mishap.csv is a folder"]),
    "study file missing": (lambda folder: (folder / "study.toml").unlink(), 2, ["study.toml"]),
    "unknown key": (plan("seed =", "sede ="), 2, ["study.toml, line", "run.sede", "'seed'"]),
    "wrong type": (plan("= 24", '= "24"'), 2, ["study.toml, line 7", "currency_months", "a number"]),
    "not toml": (plan("[run]", "[run"), 2, ["study.toml, line", "TOML"]),
    "mediator": (plan('"far_seat"', '"brace_adopted"'), 2, ["study.toml, line", "brace_adopted", "training"]),
    "another file named": (plan('"mishap.csv"', '"nothing.csv"'), 1, ["nothing.csv"]),
    "a file name of blanks": (plan('"mishap.csv"', '""'), 2, ["study.toml, line", "records.mishap"]),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_refused_in_one_sentence(study_folder, tmp_path, capsys, name):
    spoil, expected, words = BAD[name]
    spoil(study_folder)
    before = sorted(path.name for path in tmp_path.iterdir())
    code = run_command(["brief", str(study_folder), "--out", str(tmp_path / "out")])
    told = capsys.readouterr().err
    assert code == expected, told
    sentences = [line for line in told.splitlines() if line.startswith("survstats: ")]
    assert len(sentences) == 1
    assert told.splitlines()[-1] == sentences[0]
    for word in words:
        assert word in sentences[0]
    assert len(sentences[0]) < 500
    assert sorted(path.name for path in tmp_path.iterdir()) == before


@pytest.mark.parametrize("name", [name for name, (_, code, _) in BAD.items() if code == 1])
def test_check_leaves_with_1_as_well(study_folder, capsys, name):
    BAD[name][0](study_folder)
    assert run_command(["check", str(study_folder)]) == 1


# ---- places that cannot be written ----------------------------------------------------------------------------------


def foreign(out):
    out.mkdir()
    (out / "thesis.txt").write_text("mine", encoding="utf-8")


PLACES = {
    "a file": (lambda out: out.write_text("mine", encoding="utf-8"), "not a folder"),
    "a folder of other things": (foreign, "other files"),
    "a link to a folder": (lambda out: out.symlink_to(out.parent), "not a folder"),
    "a broken link": (lambda out: out.symlink_to(out.parent / "gone"), "not a folder"),
}


@pytest.fixture
def quick(monkeypatch, demo_results):
    """The analysis itself is done already: only the writing is tried."""
    monkeypatch.setattr(
        "survstats.study.run.run", lambda *_words, **_more: demo_results["demo_survivor_only"]
    )


@pytest.mark.parametrize("name", PLACES)
def test_a_place_that_is_taken_is_left_alone(quick, tmp_path, capsys, name):
    make, words = PLACES[name]
    out = tmp_path / "out"
    make(out)
    before = sorted(path.name for path in tmp_path.rglob("*"))
    assert run_command(["brief", "--out", str(out)]) == 3
    told = capsys.readouterr().err.splitlines()[-1]
    assert words in told
    assert sorted(path.name for path in tmp_path.rglob("*")) == before


def test_no_parent_folder(quick, tmp_path, capsys):
    assert run_command(["brief", "--out", str(tmp_path / "a" / "b")]) == 3
    assert "does not exist" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("out", ["x" * 300, "a/" * 3000])
def test_a_name_too_long_to_write(quick, tmp_path, capsys, out):
    assert run_command(["brief", "--out", str(tmp_path / out)]) == 3
    assert capsys.readouterr().err.splitlines()[-1].startswith("survstats: ")


@pytest.mark.skipif(
    os.name != "posix" or not os.path.isdir("/proc/self"), reason="needs a place that refuses all"
)
def test_a_place_that_refuses_even_root(quick, capsys):
    assert run_command(["brief", "--out", "/proc/self/survstats"]) == 3
    assert len(capsys.readouterr().err.splitlines()[-1]) > 30


def test_findings_into_a_place_that_is_not_there(study_folder, tmp_path, capsys):
    assert run_command(["check", str(study_folder), "--out", str(tmp_path / "no" / "findings.csv")]) == 3
    assert f"The folder '{tmp_path / 'no'}' does not exist" in capsys.readouterr().err
