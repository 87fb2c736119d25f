"""Do sentences hold no number of their own, and does the rounding table round as people expect?"""

from __future__ import annotations

import math
import re

import pytest

from survstats.report import wording
from survstats.report.content import plain
from survstats.report.wording import FORMS, TEXT_FORMS, WHOLE_FORMS, Facts, Wording, catalogue
from survstats.study.results import Number

SLOT = re.compile(r"\{([^{}|]+)\|([a-z_]+)\}")
#: Words the papers never use.
NEVER = re.compile(r"\b(proves?|proven|significant(ly)?|effective(ness|ly)?|saved?)\b", re.IGNORECASE)


def entries(part=None, path=""):
    for key, value in (catalogue("en") if part is None else part).items():
        if isinstance(value, dict):
            yield from entries(value, f"{path}{key}.")
        else:
            yield f"{path}{key}", value


def test_no_sentence_holds_a_digit():
    assert [key for key, text in entries() if re.search(r"\d", SLOT.sub("", text))] == []


def test_no_sentence_spells_a_result_out():
    # "a hundred seats" is the drawing's own size; every other number word would be a number without an id
    spelled = re.compile(
        r"\b(two|three|four|five|six|seven|nine|ten|twelve|dozen|half|twice|double)\b", re.IGNORECASE
    )
    allowed = {
        "seats.alt",
        "seats.half",
        "gates.title",
        "three_words.title",
    }  # the last: how many words there are
    found = {key: spelled.findall(text) for key, text in entries() if key not in allowed}
    assert {key for key, words in found.items() if set(map(str.lower, words)) - {"two", "half"}} == set()


@pytest.mark.parametrize(("key", "text"), list(entries()))
def test_every_slot_has_a_form_and_every_mark_its_partner(key, text):
    for _, form in SLOT.findall(text):
        assert form in FORMS or form in WHOLE_FORMS or form in TEXT_FORMS or form == "list", form
    assert text.count("*") % 2 == 0
    if key != "paper.page_of":
        assert not re.search(r"[{}]", SLOT.sub("", text))
    assert not NEVER.search(SLOT.sub("", text))


def figure(value, low=None, high=None):
    return Wording(
        Facts({"x": Number(value, "u", "m", low, high)}, {"t": "abcdefgh"}, {"l": ["role", "sex", "era"]})
    )


@pytest.mark.parametrize(
    ("form", "value", "shown"),
    [
        ("count", 0, "0"),
        ("count", 1234567, "1 234 567"),
        ("year", 1996, "1996"),
        ("percent", 0.005, "1 %"),
        ("percent", 0.0, "0 %"),
        ("percent", 0.0049, "<1 %"),
        ("percent", 0.995, ">99 %"),
        ("percent", 1.0, "100 %"),
        ("whole_percent", 0.625, "63"),
        ("of_hundred", 0.625, "63 of 100"),
        ("points", 0.01, "1 point"),
        ("points", -0.01, "−1 point"),
        ("points", -0.004, "−0.4 points"),
        ("points", -0.0004, "0 points"),
        ("points", 0.105, "11 points"),
        ("points", -0.105, "−11 points"),
        ("points_bare", -0.105, "−11"),
        ("points_signed", 0.719, "+71.9"),
        ("points_signed", -0.3929, "-39.3"),
        ("ratio", 1.96, "2.0"),
        ("ratio", 0.2345, "0.23"),
        ("ratio", 12.4, "12"),
        ("ratio", 123.4, "123"),
        ("ratio", math.inf, "without limit"),
        ("months", 24, "24 months"),
        ("months", 1, "1 month"),
        ("months", 24.5, "24.5 months"),
        ("seconds", 42.4, "42 seconds"),
        ("seconds", 1.0, "1 second"),
        ("seconds", -3.25, "−3.3 seconds"),
        ("seconds", 9.96, "10 seconds"),
        ("seconds", 0.04, "0 seconds"),
        ("seconds_bare", -0.04, "0"),
        ("seconds_bare", 27.5, "28"),
        ("seconds_bare", math.inf, "no limit"),
        ("time_ratio", 0.7962, "0.80"),
        ("time_ratio", 1.04, "1.04"),
        ("time_ratio", 9.999, "10"),
        ("time_ratio", math.inf, "without limit"),
        ("people", 1, "1 person"),
        ("people", 2, "2 people"),
        ("mishaps", 1, "1 mishap"),
        ("percent_step", 1, "a whole per cent"),
        ("percent_step", 0.1, "0.1 per cent"),
    ],
)
def test_one_number_in_each_form(form, value, shown):
    assert figure(value).slot("x", form).text.replace("\u00a0", " ") == shown


@pytest.mark.parametrize(
    ("form", "low", "high", "shown"),
    [
        ("interval", -0.08, 0.164, "−8 to 16"),
        ("percent_interval", 0.64, 0.885, "64 to 89"),
        ("ratio_interval", 0.5, math.inf, "0.50 to without limit"),
        ("points_with_interval", -0.08, 0.16, "4 (−8 to 16)"),
        ("seconds_with_interval", -12.3, 3.04, "0 seconds (−12 to 3)"),
        ("time_ratio_interval", 0.614, 1.205, "0.61 to 1.21"),
        ("percent_range", 0.75, 0.85, "75 to 85 %"),
        ("percent_range", None, None, "4 %"),
    ],
)
def test_a_number_with_its_limits(form, low, high, shown):
    assert figure(0.04, low, high).slot("x", form).text.replace("\u00a0", " ") == shown


def test_lists_read_as_a_sentence():
    assert figure(1).slot("l", "list").text == "role, sex and era"
    assert Wording(Facts({}, {}, {"l": []})).slot("l", "list").text == ""
    assert Wording(Facts({}, {}, {"l": ["no_such_group"]})).slot("l", "list").text == "no_such_group"


def test_parts_of_a_number_carry_the_number_s_id():
    piece = figure(0.1, -0.2, 0.3).slot("x.low", "points_bare", strong=True)
    assert (piece.text, piece.id, piece.strong) == ("−20", "x", True)


@pytest.mark.parametrize("key", ["nothing", "x.colour"])
def test_a_sentence_about_a_number_that_is_not_there_is_a_fault_of_the_program(key):
    with pytest.raises(KeyError):
        figure(1).slot(key, "count")


def test_strong_marks_and_joining():
    words = figure(3)
    told = words.join("saw.within_none", "saw.within_none")
    assert plain(told) == " ".join([words.template("saw.within_none")] * 2)
    assert any(piece.strong for piece in words.say("unseen.lead_nobody_died"))


def test_only_this_module_makes_text_from_numbers():
    source = (wording.Path(wording.__file__).parent / "brief.py").read_text(encoding="utf-8")
    assert not re.search(r":\.?\d*[,+]?[fgde%]\}", source)
