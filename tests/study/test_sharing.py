"""What leaves the house: can anybody work out what was withheld, and does it hold anything of a single person?"""

from __future__ import annotations

import datetime
import math
import shutil

import numpy as np
import pytest
from attack import Attack, groups, told
from thin import THIN, read_tables, thin_study, write_tables

from survstats.challenge.battery import FIGURES
from survstats.records.demo import demo_folder
from survstats.study.counting import COMPARED
from survstats.study.open_ids import printed
from survstats.study.plan import read_study
from survstats.study.results import MASKED, StudyResults
from survstats.study.run import run

TODAY = datetime.date(2026, 11, 24)
LIMIT = 5


def some_mishaps(seed, folder):
    """A study of a few mishaps drawn from the large demo."""
    shutil.copytree(demo_folder("demo_main"), folder)
    mishap, occupant = read_tables(folder)
    draw = np.random.default_rng(seed)
    kept = draw.choice(mishap["mishap_id"].unique(), size=int(draw.integers(9, 22)), replace=False)
    write_tables(folder, tuple(table[table["mishap_id"].isin(kept)] for table in (mishap, occupant)))
    return folder


DEMOS = ["demo_main", "demo_small", "demo_survivor_only"]
FIRST = [*DEMOS, "drawn_0"]
NAMES = [*FIRST, *(pytest.param(f"drawn_{seed}", marks=pytest.mark.slow) for seed in (1, 2))]
#: For what takes long: every study is put to it, in the default run the main one.
DEAR = [
    "demo_main",
    *(pytest.param(name, marks=pytest.mark.slow) for name in (*FIRST[1:], "drawn_1", "drawn_2")),
]


class Studies(dict):
    """Each study with its results for the board and for sharing, carried out when it is first asked for."""

    def __init__(self, place, demo_results):
        super().__init__()
        self.place, self.demo_results = place, demo_results

    def __missing__(self, name):
        if name in DEMOS:
            study, board = read_study(demo_folder(name)), self.demo_results[name]
        else:
            study = read_study(some_mishaps(int(name[-1]), self.place / name))
            board = run(study, today=TODAY)
        self[name] = study, board, run(study, today=TODAY, audience="sharing")
        return self[name]


@pytest.fixture(scope="module")
def studies(tmp_path_factory, demo_results):
    return Studies(tmp_path_factory.mktemp("sharing"), demo_results)


@pytest.mark.parametrize("name", DEAR)
def test_every_count_of_people_has_a_known_meaning_and_its_true_value_or_none(studies, name):
    study, board, shared = studies[name]
    people = groups(study, board.lists["gaps.fields"])
    for one, count in told(shared).items():
        assert count is None or count == len(people[one]), one
        assert count is None or count == 0 or count >= LIMIT, one


@pytest.mark.parametrize("name", DEAR)
def test_withheld_small_counts_cannot_be_worked_out(studies, name):
    study, board, shared = studies[name]
    counts = told(shared)
    attack = Attack(groups(study, board.lists["gaps.fields"]), counts)
    assert sum(count is None for count in counts.values()) > 3
    assert attack.given_away(LIMIT) == {}


@pytest.mark.parametrize("name", DEAR)
def test_no_two_published_counts_leave_a_small_rest(studies, name):
    study, board, shared = studies[name]
    people = groups(study, board.lists["gaps.fields"])
    shown = {people[one] for one, count in told(shared).items() if count}
    rests = [len(whole - part) for whole in shown for part in shown if part < whole]
    assert rests
    assert not [rest for rest in rests if rest < LIMIT]


@pytest.mark.parametrize("name", ["demo_main", "demo_small"])
def test_withholding_small_counts_alone_gives_them_away(studies, name):
    study, board, shared = studies[name]
    people = groups(study, board.lists["gaps.fields"])
    first_only = {one: None if 0 < len(people[one]) < LIMIT else len(people[one]) for one in told(shared)}
    lost = Attack(people, first_only).given_away(LIMIT)
    assert any(low == high for low, high in lost.values())


@pytest.mark.parametrize("name", NAMES)
def test_what_rests_on_a_withheld_count_is_withheld(studies, name):
    _, board, shared = studies[name]
    compared = [f"seen.{group}_{fate}" for group in ("trained", "untrained") for fate in ("survived", "died")]
    hidden = any(shared.numbers[one].method == MASKED for one in compared)
    for one in board.numbers:
        if one.startswith(("effect.", "crude.", "claim.rd", "claim.trained", "seen.survival")):
            assert not (hidden and one in shared.numbers and shared.numbers[one].method != MASKED), one
    if "claim.rd_low" in shared.numbers:
        assert shared.numbers["seen.unknown_died"].method != MASKED
    if hidden and board.codes["brief.form"] == "estimated":
        assert shared.codes["brief.form"] == MASKED


def test_the_unknown_dead_are_not_withheld_for_how_the_lapsed_and_briefed_divide(studies):
    _, board, shared = studies["demo_main"]
    assert board.numbers["seen.briefing_died"].value == 1
    for one in ("seen.unknown_died", "seen.unknown_survived", "seen.unknown", "seen.neither"):
        assert shared.numbers[one].value == board.numbers[one].value, one
    for one in (
        "seen.lapsed_died",
        "seen.briefing_died",
        "cohort.ledger.lapsed",
        "cohort.ledger.briefing_or_dry_only",
    ):
        assert shared.numbers[one].method == MASKED, one
    rows = {row[0]: row[1:] for row in shared.tables["ledger_p1"].rows}
    assert set(rows["lapsed"]) == set(rows["briefing_or_dry_only"]) == {MASKED}
    assert shared.codes["gate.seen.state"] == board.codes["gate.seen.state"]
    assert shared.codes["records.left_out"] == board.codes["records.left_out"]
    assert "unknown.rd_low" not in shared.numbers  # it takes in four who perhaps died on impact
    for end in ("low", "high"):
        told = shared.numbers[f"unknown.status_rd_{end}"]
        assert told.value == printed(board.numbers[f"unknown.status_rd_{end}"].value, "difference")
        assert abs(told.value) <= abs(board.numbers[f"unknown.rd_{end}"].value) + 0.01


def test_one_mishap_out_is_told_by_its_ends_alone(studies):
    _, board, shared = studies["demo_main"]
    values = [row[1] for row in board.tables["one_mishap_out"].rows]
    rows = shared.tables["one_mishap_out"].rows
    assert [row[0] for row in rows] == ["least", "most"]
    assert [row[1] for row in rows] == [printed(end, "difference") for end in (min(values), max(values))]


@pytest.mark.parametrize("name", NAMES)
def test_nothing_of_a_single_mishap_or_person_is_in_the_results(studies, name):
    _, board, shared = studies[name]
    assert shared.rows == {}
    assert "missing" not in shared.tables
    assert "runs" not in shared.tables
    assert shared.tables["findings"].columns == ("rule", "severity")
    text = shared.to_json()
    for mishap, _, _ in board.rows["P2"]:
        assert mishap not in text


#: What cuts people finer than the shared counts, or is of one mishap or one person.
IN_HOUSE = (
    *("flow", "crude_shares", "recency", "fading_curve", "fading_months", "modifiers", "modifier_contrasts"),
    *("calibration", "influence", "era_positivity", "empty_cells", "coefficients"),
    *("imputation_chains", "imputation_delta"),
    *("tipping", "fitness", "left_out_groups", "miscoding_grid", "choices"),
)


@pytest.mark.parametrize("name", NAMES)
def test_the_analysts_finer_tables_and_the_way_back_stay_in_the_house(studies, name):
    _, board, shared = studies[name]
    assert [table for table in IN_HOUSE if table in shared.tables] == []
    assert (shared.people, shared.mishaps) == ({}, {})
    assert board.people
    assert set(shared.rests_on) <= set(shared.numbers)
    for one in (*shared.numbers, *shared.texts):
        assert not one.startswith(
            (
                "recency.",
                "fading.",
                "imputed.people",
                "pairs.",
                "overlap.",
                "records.occupant_file",
                "tipping.",
                "miscoding.rd",
                "miscoding.moved",
                "miscoding.undoc",
                "under_reporting.",
            )
        ), one
    assert not [one for one in shared.lists if one.startswith("imputed.")]
    assert "adequacy.largest_leverage" not in shared.numbers


@pytest.mark.parametrize("name", NAMES)
def test_the_word_is_the_same_for_sharing_unless_it_is_withheld(studies, name):
    _, board, shared = studies[name]
    masked = [row for row in shared.tables["gates"].rows if row[2] == MASKED]
    verdict = {one: code for one, code in shared.codes.items() if one.startswith(("verdict.", "change."))}
    if not masked:
        assert all(board.codes[one] == code for one, code in verdict.items())
        assert shared.lists["change.up"] == board.lists["change.up"]
    else:
        assert (verdict["verdict.word"], verdict["verdict.reason"]) == ("cannot_tell", MASKED)
        assert (verdict["change.up_word"], shared.lists["change.up"]) == ("none", [])


def test_the_word_of_the_main_demo_is_shared(studies):
    assert studies["demo_main"][2].codes["verdict.reason"] == "gates"


@pytest.mark.parametrize("name", NAMES)
def test_a_challenge_is_withheld_with_the_figures_behind_it(studies, name):
    _, board, shared = studies[name]
    rows = {row[0]: row[1:] for row in shared.tables["challenges"].rows}
    assert list(rows) == list(FIGURES)
    for challenge, (state, finding) in rows.items():
        shown = all(one in shared.numbers for one in FIGURES[challenge] if one in board.numbers)
        if finding == MASKED:
            assert state == "not_assessable"
        else:
            assert shown, challenge
            assert state == board.codes[f"challenge.{challenge}.state"]


@pytest.mark.parametrize("name", NAMES)
def test_estimators_are_shared_as_their_numbers_are(studies, name):
    _, board, shared = studies[name]
    there = {row[0]: row for row in board.tables["estimators"].rows}
    rows = shared.tables["estimators"].rows
    assert [row[0] for row in rows] == [one for one in there if one in shared.numbers]
    for row in rows:
        number = shared.numbers[row[0]]
        assert row[4:] == (number.value, number.low, number.high, None, number.mishaps, number.occupants)
        assert row[4] == printed(there[row[0]][4], "difference")


def test_where_a_group_compared_is_withheld_nothing_rests_on_it(studies):
    hidden = [
        shared
        for _, _, shared in (studies[name] for name in FIRST)
        if any(shared.numbers[one].method == MASKED for one in COMPARED)
    ]
    assert hidden
    for shared in hidden:
        assert shared.tables["estimators"].rows == ()
        assert not {
            *("flip.kind", "random.reading", "random.spread_state", "effect.roads", "effect.one_arm_hangs"),
            "adequacy.calibration",
        } & set(shared.codes)
        assert not [
            one
            for one in shared.numbers
            if one.startswith(("flip.", "firth.", "random.", "within."))
            and shared.numbers[one].method != MASKED
        ]


@pytest.mark.parametrize("name", NAMES)
def test_shared_fractions_are_as_short_as_the_papers_print_them(studies, name):
    _, _, shared = studies[name]
    for one, number in shared.numbers.items():
        if number.method in ("study_file", "rule", MASKED):
            continue
        for part in (number.value, number.low, number.high):
            if part is not None and math.isfinite(part):
                assert part == printed(part, number.unit), one
                assert len(f"{abs(part):.10g}".replace(".", "").lstrip("0")) <= 4, one


def test_shared_results_read_back(studies):
    shared = studies["demo_small"][2]
    again = StudyResults.from_json(shared.to_json())
    assert again.to_json() == shared.to_json()
    assert again.numbers["seen.unknown_died"].method == MASKED
    assert math.isnan(again.numbers["seen.unknown_died"].value)


def test_the_board_gets_whole_counts(studies):
    board = studies["demo_small"][1]
    assert board.codes["paper.audience"] == "board"
    assert not [one for one, number in board.numbers.items() if number.method == MASKED]
    assert board.numbers["seen.unknown_died"].value == 4


def test_a_larger_limit_withholds_more(studies, tmp_path):
    few = studies["demo_main"][2]
    folder = shutil.copytree(demo_folder("demo_main"), tmp_path / "study")
    plan = folder / "study.toml"
    plan.write_text(plan.read_text() + "\n[sharing]\nsmallest_cell = 15\n")
    many = run(read_study(folder), today=TODAY, audience="sharing")
    hidden = [{one for one, count in told(results).items() if count is None} for results in (few, many)]
    assert len(hidden[0]) < len(hidden[1])
    assert many.codes["brief.form"] == MASKED  # 13 trained people died
    assert "effect.rd" not in many.numbers


@pytest.mark.parametrize("name", THIN)
def test_thin_studies_can_be_shared(name, tmp_path):
    study = read_study(thin_study(name, tmp_path / "study"))
    shared = run(study, today=TODAY, audience="sharing")
    for one, count in told(shared).items():
        assert count is None or count == 0 or count >= LIMIT, one


@pytest.mark.parametrize(
    ("value", "unit", "rounded"),
    [
        (0.125, "difference", 0.13),
        (-0.125, "difference", -0.13),
        (0.0042, "difference", 0.004),
        (-0.00488, "difference", -0.0049),
        (0.8372, "share", 0.84),
        (0.9999, "share", 0.996),
        (0.0001, "share", 0.004),
        (1.0, "share", 1.0),
        (1.6543, "ratio", 1.7),
        (123.4, "ratio", 123.0),
        (13.37, "df", 13.0),
        (math.inf, "ratio", math.inf),
    ],
)
def test_rounding_as_printed(value, unit, rounded):
    assert printed(value, unit) == rounded
