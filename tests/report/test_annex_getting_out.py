"""Does the annex tell getting out as the records have it: ranges as ranges, and the dead as never out?"""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest
from annex_samples import BOXES, CODES, GETTING_OUT, getting_out_tables
from test_tracing import pieces

from survstats.report.annex.content import AnnexBlock, AnnexSection
from survstats.report.annex.figures import out_picture
from survstats.report.annex.getting_out import getting_out
from survstats.report.content import plain
from survstats.report.wording import Wording, catalogue, facts_of
from survstats.study.results import MASKED, Number, StudyResults, Table

TITLES = [
    "Who is counted, and what is known of their time",
    "Out of the cabin by the second",
    "How far the groups differ",
    "The time of those who got out",
    "The same with other shapes of the times",
    "Getting out, and what came after",
    "Rate of getting out among those not yet out",
]
REASONS = catalogue("en")["reason"]


def results(
    *, without: tuple[str, ...] = (), absent: Mapping[str, str] | None = None, **changes: Mapping
) -> StudyResults:
    """Invented results that hold nothing but getting out; ``without`` names the beginnings of ids to be left out."""

    def kept(entries: Mapping) -> dict:
        return {name: entry for name, entry in entries.items() if not name.startswith(without or ("-",))}

    return StudyResults(
        numbers={**kept(GETTING_OUT), **changes.get("numbers", {})},
        codes={**CODES, **changes.get("codes", {})},
        texts={},
        absent=absent or {},
        lists={},
        tables={**kept(getting_out_tables()), **changes.get("tables", {})},
        rows={},
        notices=(),
        provenance={},
    )


def section(found: StudyResults) -> AnnexSection:
    return getting_out(found, Wording(facts_of(found)))


def told(part: object) -> str:
    return re.sub(r"\s+", " ", " ".join(piece.text for piece in pieces(part)))


def block(found: StudyResults, title: str) -> AnnexBlock:
    return next(each for each in section(found).blocks if plain(each.title) == title)


def cells(found: StudyResults, title: str) -> list[list[str]]:
    table = block(found, title).table
    assert table
    return [[plain(cell).replace("\u00a0", " ") for cell in row] for row in table.rows]


def test_every_part_is_there_and_says_how_to_read_it():
    found = section(results())
    assert [plain(each.title) for each in found.blocks] == TITLES
    assert all(plain(each.lead) for each in found.blocks)


def test_every_figure_of_the_section_is_a_stored_one():
    found = results()
    stored = {*found.numbers, *facts_of(found).numbers}
    for piece in pieces(section(found)):
        if re.search(r"\d", piece.text):
            assert piece.id in stored, piece.text


def test_a_range_is_printed_as_one_and_a_point_as_a_point():
    rows = {row[0]: row[1:] for row in cells(results(), TITLES[2])}
    assert rows["share out by 20 seconds, points"] == ["−4 to 24", "−15 to 36", "−31 to 56", "12 (1 to 23)"]
    assert rows["share out by 60 seconds, points"] == ["8", "−2 to 19", "−17 to 42", "11 (1 to 22)"]
    assert rows["seconds outside, of the first 60"] == ["−1.3 to 13", "−4.4 to 16", "", ""]
    assert rows["share who ever got out, points"] == ["", "", "", "11 (1 to 20)"]
    other = results(codes={"egress.rd_20_form": "point", "egress.rd_60_form": "range"})
    rows = {row[0]: row[1] for row in cells(other, TITLES[2])}
    assert rows["share out by 20 seconds, points"] == "24"
    assert rows["share out by 60 seconds, points"] == "8 to 8"


def test_the_widest_range_stands_where_no_likeliest_one_can_be_told():
    found = results(
        without=(
            "egress.rd_20_l",
            "egress.rd_20_mo",
            "egress.rd_60_l",
            "egress.rd_60_most",
            "egress.seconds",
        ),
        absent={"egress.rd_20_least": "few_timed", "egress.rd_20_model": "few_timed"},
    )
    assert [row[1:] for row in cells(found, TITLES[2])[1:]] == [
        ["−31 to 56", ""],
        ["−17 to 42", "11 (1 to 22)"],
    ]
    assert "nobody can check that" not in told(block(found, TITLES[2]))


@pytest.mark.parametrize("untimed", [0, 4])
def test_what_is_taken_for_granted_of_people_without_a_time_is_told_where_there_are_any(untimed):
    table = getting_out_tables()["egress_people"]
    rows = tuple(
        (*row[:-1], untimed if row[0] == "untrained" else 9 * (row[0] == "others")) for row in table.rows
    )
    found = results(tables={"egress_people": Table(table.columns, rows)})
    for title in TITLES[1:3]:
        assert ("nobody can check that" in told(block(found, title))) == bool(untimed)


@pytest.mark.parametrize("people", [0, 7])
@pytest.mark.parametrize(
    ("name", "title", "words"),
    [
        ("rescued_inside", TITLES[1], "Brought out alive from inside without a recorded second: 7 people"),
        ("washed_out", TITLES[3], "those of 7 people washed out of the cabin"),
        ("died_out", TITLES[3], "Of 7 people compared who got out and died, a time is known of 3"),
    ],
)
def test_people_who_came_out_in_another_way_are_told_where_there_are_any(people, name, title, words):
    found = results(numbers={f"egress.{name}": Number(people, "count", "counted")})
    assert (words in told(block(found, title))) == bool(people)


def test_figures_that_an_older_file_does_not_hold_leave_their_words_out():
    older = ("egress.widest", "egress.rescued", "egress.died", "egress.washed")
    shown = told(section(results(without=older)))
    assert not re.search(r"washed|Brought out alive from inside|got out and died|whatever the missing", shown)


def test_a_time_ratio_never_stands_without_whom_it_leaves_out():
    words = told(block(results(), TITLES[3]))
    assert "the ratio understates its lead" in words
    assert "needed 0.78 (0.62 to 0.99) times as long" in words
    assert "Only people who got out have a time" in words
    assert "no good news" in words
    assert "14 seconds (11 to 19)" in words


def test_a_shape_of_the_times_without_a_fit_says_why():
    found = results(absent={"egress_models.weibull": "not_converged"})
    assert "Weibull : The fit found no stable answer" in told(section(found))


def test_nothing_is_called_faster_or_due_to_training():
    words = told(section(results()))
    assert not re.search(r"\b(faster|quicker|because|due to|thanks to|made|helped)\b", words)
    assert "no causes" in words


@pytest.mark.parametrize(("code", "words"), [("close", "keeps within"), ("off", "Take its seconds as rough")])
def test_the_fit_is_told_as_it_was_judged(code, words):
    shown = told(block(results(codes={"egress.fit": code}), TITLES[3]))
    assert words in shown
    assert "3 points" in shown


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("kept", "was not seen to change"),
        ("doubtful", "says little"),
        ("not_checked", "could not be checked"),
    ],
)
def test_whether_the_rate_ratio_stays_the_same_is_told(code, words):
    assert words in told(block(results(codes={"rates.proportional": code}), TITLES[6]))


def test_the_split_is_an_account_with_both_stages_and_their_sum():
    rows = cells(results(), TITLES[5])
    assert [row[0] for row in rows] == ["got out", "alive, of those out", "alive, both together"]
    assert [row[3] for row in rows] == ["9 (1 to 17)", "−1 (−8 to 5)", "8 (−5 to 21)"]
    assert rows[0][1:3] == ["88 (80 to 93)", "77 (70 to 83)"]


GONE = {
    "egress.time_ratio": (TITLES[3], "few_timed"),
    "split.rd": (TITLES[5], "more_alive_than_out"),
    "rates.all": (TITLES[6], "not_converged"),
}


@pytest.mark.parametrize("name", GONE)
def test_what_is_not_there_is_explained_by_its_reason(name):
    title, reason = GONE[name]
    family = name.partition(".")[0] if name != "egress.time_ratio" else name
    shown = block(results(without=(family,), absent={name: reason}), title)
    assert plain(shown.lead) == REASONS[reason]
    assert shown.table is None
    assert shown.items == ()


def test_a_rate_inside_mishaps_that_is_not_there_leaves_the_other_one_standing():
    found = results(without=("rates.within",), absent={"rates.within": "no_discordant_mishaps"})
    assert [row[1] for row in cells(found, TITLES[6])] == ["1.4 (1.1 to 2.0)", "not estimated"]
    assert REASONS["no_discordant_mishaps"] in told(block(found, TITLES[6]))


def test_without_curves_the_people_stay_and_the_reason_is_told():
    gone = (
        "egress_curve",
        "egress_boxes",
        "egress.rd_20_l",
        "egress.rd_20_m",
        "egress.rd_60",
        "egress.seconds",
        "egress.widest",
    )
    absent = {
        "egress_curve": "few_mishaps",
        "egress.rd_20_least": "few_mishaps",
        "egress.rd_20_model": "few_timed",
    }
    found = results(without=gone, absent=absent)
    shown = block(found, TITLES[1])
    assert shown.picture is None
    assert shown.table
    assert len(shown.table.rows) == 8
    assert REASONS["few_mishaps"] in told(shown.items)
    assert [row[0] for row in cells(found, TITLES[2])] == ["share who ever got out, points"]
    assert f"The model: {REASONS['few_timed']}" in told(block(found, TITLES[2]))


def test_what_is_withheld_is_one_sentence():
    found = results(without=("egress", "split", "rates"), absent={"egress_people": MASKED})
    only = section(found).blocks
    assert [plain(each.lead) for each in only] == [REASONS[MASKED]]
    assert not re.search(r"\d", told(only))


def test_an_older_file_without_any_of_it_still_gives_a_section():
    assert told(section(results(without=("egress", "split", "rates"))).blocks)


# ---- F4 ------------------------------------------------------------------------------------------


def panels(found: StudyResults):
    picture = out_picture(found, Wording(facts_of(found)))
    assert picture
    return picture.figure


def brute(arm: str, second: float) -> tuple[float, float]:
    """Least and most by the boxes themselves, at a second that is no end of one."""
    boxes = BOXES[arm]
    least = sum(mass for _, high, mass in boxes if high < second)
    return 100 * least, 100 * sum(mass for low, _, mass in boxes if low < second)


@pytest.mark.parametrize("at", [0, 1])
def test_the_stairs_are_those_of_the_boxes_at_every_second_between(at):
    arm = ("trained", "untrained")[at]
    steps = panels(results()).panels[at].steps
    for tenth in range(5, 890, 10):
        second = tenth / 10
        step = next(each for each in reversed(steps) if each.seconds <= second)
        assert (step.least, step.most) == pytest.approx(brute(arm, second)), second


def test_no_stairs_reach_the_ground_of_those_who_never_got_out():
    for panel in panels(results()).panels:
        assert max(step.most for step in panel.steps) <= panel.ever + 1e-9
        assert panel.ever < 100
        assert max(step.high for step in panel.steps) > panel.ever  # the limits may


def test_the_end_of_each_curve_counts_people():
    trained, untrained = panels(results()).panels
    assert plain(trained.never_text) == "12 never out"
    assert plain(untrained.out_text) == "103 out"
    assert plain(untrained.unknown_text) == "4 not known"
    assert [plain(text) for _, text in trained.inside] == ["71", "55", "39", "23"]


def test_nobody_of_unknown_fate_is_no_line_of_the_figure():
    table = getting_out_tables()["egress_people"]
    rows = tuple((*row[:4], 0, *row[5:]) for row in table.rows)
    found = results(tables={"egress_people": Table(table.columns, rows)})
    assert [panel.unknown_text for panel in panels(found).panels] == [(), ()]


@pytest.mark.parametrize(("end", "last"), [(35.0, 60.0), (90.0, 90.0), (118.0, 118.0)])
def test_seconds_are_shown_to_the_last_box_and_for_a_minute_at_least(end, last):
    curve = tuple(
        (arm, t, 0.1 * at, 0.1 * at, 0.0, 0.9) for arm in BOXES for at, t in enumerate((0.0, 9.0, end))
    )
    table = Table(("arm", "time_s", "least", "most", "low", "high"), curve)
    assert panels(results(tables={"egress_curve": table})).last == last


def test_a_box_that_outlasts_the_last_stored_second_stays_open():
    """Out at some time after 30 seconds, and the curve is stored as far as 120: nobody is out for certain after 30."""
    curve = Table(
        ("arm", "time_s", "least", "most", "low", "high"),
        (("trained", 0.0, 0.0, 0.0, 0.0, 0.1), ("trained", 30.0, 0.4, 0.4, 0.3, 0.5)),
    )
    boxes = Table(
        ("arm", "from_s", "to_s", "mass"), (("trained", 10.0, 30.0, 0.4), ("trained", 30.0, 150.0, 0.3))
    )
    (panel,) = panels(results(tables={"egress_curve": curve, "egress_boxes": boxes})).panels
    assert (panel.steps[-1].least, panel.steps[-1].most) == pytest.approx((40, 70))
    assert panel.ever == pytest.approx(70)


def test_limits_that_are_not_there_are_not_drawn_or_named():
    table = getting_out_tables()["egress_curve"]
    rows = tuple((*row[:4], None, None) for row in table.rows)
    figure = panels(results(tables={"egress_curve": Table(table.columns, rows)}))
    assert figure.limits_text == ()
    assert panels(results()).limits_text != ()
