"""Does the verdict speak as often as it must, and err no oftener than it may?

The bars are the design's conditions (a), (b), (c) and (i), held against ``data/rehearsal/verdict_conditions.csv``. The
table is written by ``python -m survstats.rehearsal conditions --out FILE`` from announced seeds, and must have been
made with the thresholds, the listed choices, the study file and the scenarios that are in force. Bars (a) and (i) allow
for simulation error: two standard errors of a share at the bar. (b) and (c) are held as they stand.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from survstats.challenge.choice_list import CHOICES_FILE
from survstats.challenge.verdict import GATES, THRESHOLDS_FILE
from survstats.groundwork.provenance import file_hash
from survstats.rehearsal.conditions import BASE_SEED, COUNTED, read_table, setting_hash
from survstats.rehearsal.scenarios import CELLS

TABLE = Path(__file__).parents[2] / "data" / "rehearsal" / "verdict_conditions.csv"
RUNS = 300
SIZES = (30, 60, 120)
WORDS = (
    "supports_benefit",
    "suggests_benefit",
    "supports_harm",
    "suggests_harm",
    "supports_no_worthwhile_difference",
    "cannot_tell",
)


@pytest.fixture(scope="module")
def table():
    rows = read_table(TABLE)
    return {f"{row['scenario']}/{row['mishaps']}": row for _, row in rows.iterrows()}


def share(row, *names):
    return sum(row[name] for name in names) / row["runs"]


def supports(row):
    return share(row, "supports_benefit", "supports_harm")


def any_word(row):
    return supports(row) + share(row, "suggests_benefit", "suggests_harm")


def simulation_error(bar, runs=RUNS):
    return 2 * (bar * (1 - bar) / runs) ** 0.5


def test_every_cell_is_there_once_from_fresh_seeds_and_the_thresholds_in_force(table):
    rows = read_table(TABLE)
    assert sorted(table) == sorted(cell.name for cell in CELLS)
    assert len(rows) == len(CELLS)
    assert set(rows["seeds"]) == {"fresh"}
    assert set(rows["base_seed"]) == {BASE_SEED["fresh"]}
    assert set(rows["thresholds"]) == {file_hash(THRESHOLDS_FILE)}
    assert set(rows["choices"]) == {file_hash(CHOICES_FILE)}
    assert set(rows["setting"]) == {setting_hash()}
    assert rows["runs"].min() >= RUNS


def test_every_study_got_one_word_and_every_gate_at_most_one_state(table):
    for row in table.values():
        assert sum(row[word] for word in WORDS) == row["runs"]
        assert all(0 <= row[name] <= row["runs"] for name in COUNTED)
        assert all(row[f"{gate}_met"] + row[f"{gate}_partly_met"] <= row["runs"] for gate in GATES)


@pytest.mark.parametrize("mishaps", [7, 15, *SIZES])
def test_a_where_there_is_nothing_a_word_is_rare(table, mishaps):
    row = table[f"null/{mishaps}"]
    assert supports(row) <= 0.025 + simulation_error(0.025)
    assert any_word(row) <= 0.06 + simulation_error(0.06)


@pytest.mark.parametrize("mishaps", SIZES)
def test_b_hidden_fitness_is_not_taken_for_training_and_the_page_says_how_strong_it_would_have_to_be(
    table, mishaps
):
    row = table[f"null_fitness/{mishaps}"]
    assert supports(row) <= 0.05
    assert row["fitness_told"] == row["estimated"] > 0


@pytest.mark.parametrize("mishaps", SIZES)
@pytest.mark.parametrize("scenario", ["null_miscoded_all", "null_miscoded_half"])
def test_c_trained_dead_written_down_as_untrained_earn_no_word(table, scenario, mishaps):
    assert any_word(table[f"{scenario}/{mishaps}"]) <= 0.10


@pytest.mark.parametrize(
    ("mishaps", "word", "supported"), [(30, 0.38, 0.07), (60, 0.75, 0.14), (120, 0.90, 0.27)]
)
def test_i_a_true_gain_of_seventeen_points_is_not_met_with_silence(table, mishaps, word, supported):
    row = table[f"clean_17/{mishaps}"]
    assert share(row, "supports_benefit", "suggests_benefit") >= word - simulation_error(word)
    assert share(row, "supports_benefit") >= supported - simulation_error(supported)


def test_nobody_is_told_that_training_harms_where_it_helps(table):
    for name in ("clean_17", "unknown_17", "clean_29"):
        for mishaps in SIZES:
            row = table[f"{name}/{mishaps}"]
            assert share(row, "supports_harm", "suggests_harm") == 0


def test_more_records_and_a_larger_gain_make_the_word_likelier(table):
    for name in ("clean_17", "unknown_17"):
        shares = [any_word(table[f"{name}/{mishaps}"]) for mishaps in SIZES]
        assert shares == sorted(shares)
    for mishaps in SIZES:
        assert any_word(table[f"clean_29/{mishaps}"]) >= any_word(table[f"clean_17/{mishaps}"])
