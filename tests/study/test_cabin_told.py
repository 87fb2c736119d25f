"""Are the people of the map and of the seats counted once, traced, and left out where nothing can be said?"""

from __future__ import annotations

import numpy as np
import pytest

from survstats.effects.position import POSITIONS
from survstats.records.demo import demo_folder
from survstats.study.cabin_told import IDS, POSITION_IDS, store_cabin
from survstats.study.everybody import everybody
from survstats.study.lock import lock
from survstats.study.plan import read_study
from survstats.study.results_builder import ResultsBuilder
from survstats.study.steps import read_records


def told(folder) -> tuple[ResultsBuilder, object]:
    study = read_study(folder)
    people = everybody(study, read_records(study, lock(study)))
    out = ResultsBuilder()
    store_cabin(out, study, people)
    return out, people.primary.frame


@pytest.fixture(scope="module")
def small():
    return told(demo_folder("demo_small"))


def rows(out: ResultsBuilder, name: str) -> list[dict[str, object]]:
    table = out.tables[name]
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def test_everybody_alive_at_flooding_is_in_the_map_or_counted_beside_it(small):
    out, frame = small
    counts = ("placed", "seat_unknown", "outside", "no_layout", "fate_unknown")
    assert sum(out.numbers[f"cabin.{name}"].value for name in counts) == len(frame)
    placed = out.numbers["cabin.placed"].value
    for table in ("cabin_zones", "cabin_classes"):
        assert sum(row["occupants"] for row in rows(out, table)) == placed
    assert sum(row["out"] for row in rows(out, "cabin_classes")) == frame["out"].eq(1).sum()


def test_every_cell_that_counts_people_knows_them_and_every_other_says_what_it_rests_on(small):
    out, frame = small
    lucky = frame.set_index("file_row")["out"]
    for table in ("cabin_zones", "cabin_classes", "position"):
        assert set(out.rests_on[table]) <= set(out.people)
        for at, row in enumerate(rows(out, table)):
            aboard, got_out = (out.people.get(f"{table}/{at}/{column}") for column in ("occupants", "out"))
            assert len(aboard) == row["occupants"]
            assert got_out == (None if row["out"] is None else {one for one in aboard if lucky[one] == 1})
            assert (row["out"] is None) == (len(aboard) < 5)


def test_a_place_with_fewer_than_five_people_has_counts_and_no_share(small):
    out, _ = small
    thin = [row for row in rows(out, "cabin_zones") if row["occupants"] < 5]
    assert thin
    for row in thin:
        assert [row[name] for name in ("out", "share", "shrunken", "low", "high")] == [None] * 5
    for row in rows(out, "cabin_zones"):
        if row["share"] is not None:
            assert row["low"] < row["share"] <= row["high"]
            assert row["share"] == row["out"] / row["occupants"]


def test_the_layout_is_stored_as_the_study_file_has_it(small):
    out, _ = small
    layout, zones = rows(out, "cabin_layout"), rows(out, "cabin_zones")
    assert len(layout) == len(zones)
    classes = [row["class"] for row in rows(out, "cabin_classes")]
    assert [(classes[row["cabin"] - 1], row["side"]) for row in layout] == [
        (row["class"], row["side"]) for row in zones
    ]
    twin = 1 + classes.index("A_twin_2c8p")
    assert [
        (zone["zone"], row["first_row"], row["last_row"], row["seats"], row["rows"])
        for row, zone in zip(layout, zones, strict=True)
        if row["cabin"] == twin and row["side"] == "L"
    ] == [("front", 1, 1, "L R", 5), ("middle", 2, 3, "L R", 5), ("rear", 4, 5, "L R", 5)]
    exits = [(row["row"], row["side"]) for row in rows(out, "cabin_exits") if row["cabin"] == twin]
    assert exits == [(1, "L"), (1, "R"), (4, "L"), (4, "R")]


def test_of_each_kind_of_seat_everybody_known_is_in_one_level(small):
    out, frame = small
    known = out.numbers["position.out_known"].value
    assert known + out.numbers["position.out_unknown"].value == len(frame)
    for name in POSITIONS:
        inside = sum(row["occupants"] for row in rows(out, "position") if row["name"] == name)
        assert inside + out.numbers[f"position.{name}_unknown"].value == known
    assert out.lists["position.held_equal"] == [
        *("role", "operator_code", "aircraft_class", "sig_wave_height_m", "water_temp_c", "light")
    ]
    for at, row in enumerate(rows(out, "position")):
        refused = f"position/{at}/difference" in out.absent
        assert (row["difference"] is None) == (refused or row["level"] == row["reference"])
        if row["difference"] is not None:
            assert row["low"] < row["difference"] < row["high"]


def test_a_study_without_layouts_has_no_map_and_still_holds_seats_against_each_other(study_folder):
    path = study_folder / "study.toml"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    lines = lines[: lines.index("[decision]\n")]  # its groups are told by zones
    kept = [line for line in lines if not line.startswith(("[cabin", "rows", "seats", "exits", "zones"))]
    path.write_text("".join(kept), encoding="utf-8")
    out, _ = told(study_folder)
    assert {out.absent[name] for name in IDS} == {"no_layout"}
    assert "position" in out.tables


def test_a_layout_of_a_class_that_is_not_in_the_records_is_named(study_folder):
    file = study_folder / "study.toml"
    text = file.read_text(encoding="utf-8").replace("[cabin.A_twin_2c8p]", "[cabin.A_twin]")
    file.write_text(text, encoding="utf-8")
    assert told(study_folder)[0].lists["cabin.unused"] == ["A_twin"]


def test_people_in_no_known_seat_are_counted_where_they_belong(study_folder):
    path = study_folder / "occupant.csv"
    head, *lines = path.read_text(encoding="utf-8").splitlines()
    columns = head.split(",")
    row, side = columns.index("seat_row"), columns.index("seat_side")
    seen = np.arange(len(lines))
    for at in seen:
        cells = lines[at].split(",")
        if at % 10 == 3:
            cells[row] = "unknown"
        elif at % 10 == 6:
            cells[side] = "C"
        lines[at] = ",".join(cells)
    path.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    out, frame = told(study_folder)
    assert out.numbers["cabin.seat_unknown"].value == frame["seat_row"].isna().sum() > 0
    centre = frame["seat_side"].eq("C") & frame["seat_row"].notna()
    assert out.numbers["cabin.outside"].value == centre.sum() > 0
    assert "C" in {row["level"] for row in rows(out, "position")}


def test_of_few_mishaps_no_seat_is_held_against_another(few_mishaps_folder):
    out, _ = told(few_mishaps_folder)
    assert {out.absent[name] for name in POSITION_IDS} == {"few_mishaps"}
    if "cabin_zones" in out.tables:
        assert "cabin.placed" in out.numbers


def test_everything_stored_is_named_for_leaving_out(small):
    out, _ = small
    stored = {*out.numbers, *out.tables}
    assert stored <= {*IDS, *POSITION_IDS}
