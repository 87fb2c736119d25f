"""Does the section on trainer runs say whose times they are, everywhere, and no more than its numbers carry?"""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_figures import collisions

from survstats.report.annex.runs import runs, runs_picture
from survstats.report.annex.tables import texts
from survstats.report.content import plain
from survstats.report.fading_figure import plan_fading
from survstats.report.figures import draw, figure_data
from survstats.report.wording import Wording, catalogue, facts_of
from survstats.study.results import Number, StudyResults, Table

WHOSE = "Trained people, in a pool, expecting it"
COUNTS = {"people": 83, "runs": 412, "out": 355, "stopped": 57, "left_out": 31, "returned": 47}
RATIOS = {
    "gain": (0.79, 0.66, 0.95),
    "lost_12": (1.06, 1.01, 1.13),
    "lost_24": (1.13, 1.02, 1.26),
    "lost_48": (1.21, 1.03, 1.44),
    "apart": (1.04, 0.87, 1.24),
}
LINES = (
    ("posture", "inverted", "upright", 261, 82, 1.43, 1.31, 1.56, None, None),
    ("cross_cabin", "yes", "no", 88, 51, None, None, None, None, None),
    ("run_doubled", "doubled", "once", 412, 83, 0.91, 0.86, 0.97, None, None),
    ("since_last", "0_12", "initial", 41, 9, 0.77, 0.61, 0.97, 0.0, 12.0),
    ("since_last", "12_", "initial", 143, 38, 0.91, 0.78, 1.06, 12.0, None),
    ("since_last", "unknown", "initial", 21, 5, 0.94, 0.71, 1.24, None, None),
)
CODES = {
    "runs_model.size": "few",
    "runs_model.returners": "apart",
    "race.pool": "above",
    "race.finding": "larger",
    "race.breath": "above",
    "race.multiplier": "given",
}


def number(value: float, low: float | None = None, high: float | None = None, unit: str = "ratio") -> Number:
    level, people = (None, None) if low is None else (0.95, 57)
    return Number(value, unit, "invented", low, high, level, occupants=people)


NUMBERS = {
    **{f"runs_model.{name}": number(value, unit="count") for name, value in COUNTS.items()},
    **{f"runs_model.{name}": number(*values) for name, values in RATIOS.items()},
    "runs_model.half_life": number(23.0, 11.0, 61.0, "months"),
    "runs_model.refresher_restores": number(0.63, 0.31, 0.87, "share"),
    "runs_model.first_month": number(6.0, unit="months"),
    "runs_model.middle_month": number(33.0, unit="months"),
    "runs_model.last_month": number(59.0, unit="months"),
    "egress.time_ratio": number(0.78, 0.62, 0.97),
    "race.observed": number(0.37, 0.29, 0.45, "difference"),
    "race.gap_least": number(0.02, unit="difference"),
    "race.gap_most": number(0.22, unit="difference"),
    "race.share_seen": number(0.46, 0.32, 0.61, "share"),
    "race.share": number(0.72, 0.69, 0.75, "share"),
    "race.untrained_median": number(21.0, 17.0, 25.0, "seconds"),
    "race.mishap_median": number(19.0, 16.0, 23.0, "seconds"),
    "race.pool_median": number(14.0, 13.0, 15.0, "seconds"),
    "race.ratio": number(1.36, 1.12, 1.64),
    "race.breath_median": number(27.0, unit="seconds"),
    "race.breath_multiplier": number(0.73),
    "race.breath_below": number(29.0, unit="seconds"),
    "race.breath_told": number(0.34, unit="share"),
    "race.breath_implied": number(0.26, unit="share"),
    "race.breath_people": number(222, unit="count"),
    "race.pool_people": number(81, unit="count"),
    "race.before_capsize": number(11, unit="count"),
    "race.after_capsize": number(7, unit="count"),
}
TABLES = {
    "runs_model": Table(
        ("term", "level", "reference", "runs", "people", "ratio", "low", "high", "from_months", "to_months"),
        LINES,
    ),
    "runs_fading_curve": Table(
        ("months", "ratio", "low", "high"),
        tuple(
            (6.0 + 53 * at / 24, 1 - 0.24 * 2 ** (-at / 12), 0.66 + 0.004 * at, 0.95 + 0.004 * at)
            for at in range(25)
        ),
    ),
    "runs_fading_months": Table(("from_months", "courses"), tuple((6.0 * at, 3 + at) for at in range(1, 9))),
}


@pytest.fixture(scope="module")
def results(demo_results) -> StudyResults:
    whole = demo_results["demo_small"]
    ours = ("runs_model", "race.", "runs_fading")
    kept = {name: one for name, one in whole.numbers.items() if not name.startswith(ours)}
    return replace(
        whole,
        numbers={**kept, **NUMBERS},
        tables={**whole.tables, **TABLES},
        codes={**whole.codes, **CODES},
        texts={**whole.texts, "race.source": "Somebody 1999"},
    )


def said(results: StudyResults) -> str:
    section = runs(results, Wording(facts_of(results)))
    parts = [plain(section.lead)]
    for block in section.blocks:
        parts += [plain(block.title), plain(block.lead), *map(plain, block.items)]
        if block.table:
            parts += [plain(cell) for row in block.table.rows for cell in row]
    return "\n".join(parts).replace("\u00a0", " ")


def without(results: StudyResults, *names: str, reason: str = "few_runs") -> StudyResults:
    return replace(
        results,
        numbers={name: one for name, one in results.numbers.items() if name not in names},
        tables={name: one for name, one in results.tables.items() if name not in names},
        absent={**results.absent, **dict.fromkeys(names, reason)},
    )


def test_section_tables_and_figure_say_whose_times_they_are(results):
    section = runs(results, Wording(facts_of(results)))
    assert WHOSE in plain(section.lead)
    pool = [block for block in section.blocks if plain(block.title) != "Way out against breath"]
    for block in pool:
        if block.table or block.picture:
            assert WHOSE in plain(block.lead)
    figure = runs_picture(results, Wording(facts_of(results))).figure
    assert WHOSE in plain(figure.drawing.alt)
    assert WHOSE.lower() in plain(figure.drawing.x_title).lower()


def test_every_sentence_of_a_full_section_is_there_with_its_numbers(results):
    text = said(results)
    for told in (
        "412 trainer runs by 83 people: 355 out unaided, 57 stopped, failed or helped.",
        "Left out are 31 trainer runs",
        "These are few people",
        "1.43 (1.31 to 1.56)",
        "0 to 12\n41\n9\n0.77 (0.61 to 0.97)",
        "gone after 23 months (11 to 61)",
        "63 (31 to 87) per cent",
        "After two years it was 1.13 (1.02 to 1.26)",
        "These runs speak against that",
        "6 to 59 months after the last course; nothing is said beyond them",
        "out unaided: trained people, expecting it\n81\n14 seconds (13 to 15)",
        "mishaps, cabin capsized or sank: those who got out\n57\n19 seconds",
        "as published\n222\n27 seconds",
        "The clocks differ",
        "Of 57 people with a time, 11 were surely out before the cabin capsized and 7 surely after it",
        "They are longer; darkness, injury, exits and people differ too",
        "taken from all cabins, would by itself change the share out of such a cabin by 2 to 22 points",
        "After two years and two more it was 1.21 (1.03 to 1.44)",
        "37 (29 to 45) points. That is more than ways out that much longer or shorter account for",
        "69 to 75 %",
        "Seen out were 46 (32 to 61) per cent of 57 people",
        "Fewer got out than that breath would allow",
        "34 % held it for less than 29 seconds, where mean and spread ask for 26 %",
        "Somebody 1999",
        "0.73, as the study file says",
    ):
        assert told in text, told


@pytest.mark.parametrize(
    ("code", "found", "words"),
    [
        ("race.finding", "of_the_size", "could account for a difference of that size"),
        ("race.finding", "smaller", "less than the times would make"),
        ("race.finding", "unsettled", "they settle nothing"),
        ("race.finding", "open", "may be no difference at all"),
        ("race.pool", "alike", "The interval does not tell the two apart"),
        ("race.pool", "below", "Only the quick got out"),
        ("race.breath", "alike", "The intervals do not tell the two apart"),
        ("race.multiplier", "default", "the study file gives no figure"),
        ("race.breath", "below", "More got out than that breath would allow"),
        ("runs_model.returners", "alike", "Nothing here speaks against that"),
    ],
)
def test_each_code_has_its_sentence(results, code, found, words):
    assert words in said(replace(results, codes={**results.codes, code: found}))
    assert words not in said(results)


def test_a_level_without_a_ratio_says_so(results):
    assert "exit across the cabin\nexit on the same side\n88\n51\nnot estimated" in said(results)


def test_without_a_half_life_no_curve_is_drawn_and_its_reason_is_told(results):
    refused = without(
        results, "runs_model.half_life", "runs_model.refresher_restores", reason="fading_unbounded"
    )
    text = said(refused)
    assert "The data cannot show how fast the skill fades" in text
    assert "per cent of what the course had given" not in text
    for number_at_the_best_rate in ("0.79 (", "1.06 (", "1.13 (", "1.21 ("):
        assert number_at_the_best_rate in said(results)
        assert number_at_the_best_rate not in text
    assert "After two years and two more they bear 1.03 to 1.44 times as long" in text
    assert "never grow" in text
    assert "never grow" not in said(results)
    figure = runs_picture(refused, Wording(facts_of(refused))).figure
    assert figure.drawing.curve_text == ()
    assert {row[4] for row in figure_data(figure)[1] if row[0] == "limits"} == {None}


def test_without_runs_one_sentence_stands_and_the_race_keeps_what_it_has(results):
    none = without(results, *TABLES, "race.pool_median", "race.ratio", reason="few_runs")
    none = replace(none, codes={name: code for name, code in none.codes.items() if name != "race.pool"})
    text = said(none)
    assert "There are too few timed runs for it." in text
    assert "pool, upside down" not in text
    assert "mishaps, cabin capsized or sank" in text


def test_without_a_gap_the_reason_is_told_and_nothing_is_called_larger(results):
    text = said(without(results, "race.gap_least", "race.gap_most", reason="few_timed"))
    assert "What the times alone would change cannot be worked out." in text
    assert "account for" not in text


def test_what_was_seen_is_told_with_and_without_the_race(results):
    for found in (results, without(results, "race.gap_least", "race.gap_most", reason="few_timed")):
        assert "Seen among passengers: 37 (29 to 45) points." in said(found)


def test_kinds_of_run_that_nobody_manages_are_named(results):
    gone = ["posture.inverted", "exit_type.jettison", "since_last.unknown"]
    told = said(replace(results, lists={**results.lists, "runs_model.kinds_left_out": gone}))
    assert "to be told: upside down, exit to jettison and course not known." in told


def test_whose_shares_they_are_is_said_only_where_one_is_shown(results):
    whose = "Shares and differences here are those of passengers"
    assert whose in said(results)
    none = ("race.observed", "race.share_seen", "race.share")
    assert whose not in said(without(results, *none, reason="one_outcome"))


def test_what_is_withheld_is_one_sentence(results):
    gone = [name for name in NUMBERS if name.startswith(("runs_model", "race"))]
    text = said(without(results, *TABLES, *gone, reason="masked"))
    assert text.count("\n") == 2
    assert "withheld" in text


def test_every_sentence_of_the_catalogue_can_be_said_of_these_results(results):
    """So that no slot names an id that nobody stores."""
    words = Wording(facts_of(results))
    rows = {"band": "runs_model.3", "band_open": "runs_model.4"}

    def keys(at: str, found: object):
        if isinstance(found, str):
            yield at
        elif isinstance(found, dict):
            for name, one in found.items():
                yield from keys(f"{at}.{name}", one)

    for part in ("runs", "race"):
        for key in keys(f"annex.{part}", catalogue("en")["annex"][part]):
            if key.endswith(".at_least"):
                continue
            assert words.can_say(key, row=rows.get(key.rpartition(".")[2], "")), key
    given = {**results.numbers, "runs_model.at_least": number(14.0, unit="months")}
    assert texts(Wording(facts_of(replace(results, numbers=given))), "annex.runs.fading.at_least")


# ---- the figure ----------------------------------------------------------------------------------


@pytest.mark.parametrize("narrow", [False, True])
def test_letters_of_the_figure_stand_clear(results, narrow):
    figure = runs_picture(results, Wording(facts_of(results))).figure
    plate = plan_fading(figure.drawing, narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)
    assert WHOSE in draw(figure, narrow=narrow)


def test_the_figure_shows_the_stored_ratios_as_per_cent_of_a_beginners_time(results):
    figure = runs_picture(results, Wording(facts_of(results))).figure
    header, rows = figure_data(figure)
    assert header[4] == "time_percent"
    bands = [row for row in rows if row[0] == "band"]
    assert [round(row[4], 6) for row in bands] == [-23.0, -9.0]
    assert [row[3] for row in bands] == ["9", "38"]
    assert sum(row[3] for row in rows if row[0] == "courses") == sum(3 + at for at in range(1, 9))
    assert next(row[1] for row in rows if row[0] == "curve") == 6.0


def test_no_curve_no_picture(results):
    assert runs_picture(without(results, "runs_fading_curve"), Wording(facts_of(results))) is None
