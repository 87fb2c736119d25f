"""Does the word follow from the gates as agreed, over every state they can take?"""

from __future__ import annotations

import re
from collections import Counter
from itertools import product

import pytest

from survstats.challenge.verdict import GATES, READING_GATES, chance_of, decide, reading_of, thresholds

STATES = ("not_met", "partly_met", "met")
WORDS = ("cannot_tell", "suggests", "supports")
BENEFIT = {"low": 0.06, "high": 0.20, "worthwhile": 0.05}
HARM = {"low": -0.20, "high": -0.06, "worthwhile": 0.05}
SMALL = {"low": -0.02, "high": 0.03, "worthwhile": 0.05}


def every(gates=GATES):
    for states in product(STATES, repeat=len(gates)):
        yield dict(zip(gates, states, strict=True))


def words(**limits):
    return {tuple(states.values()): decide(states, **limits).word for states in every()}


# ---- listed counts (enumerated twice by independent code) ---------------------------------------------------------


@pytest.mark.parametrize("limits", [BENEFIT, HARM])
def test_golden_words_over_all_states(limits):
    assert Counter(words(**limits).values()) == {"supports": 16, "suggests": 202, "cannot_tell": 6343}


def test_golden_no_worthwhile_difference_over_all_states():
    found = [decide(states, **SMALL) for states in every()]
    assert Counter(one.word for one in found) == {"supports": 288, "cannot_tell": 6273}
    assert {one.direction for one in found if one.word == "supports"} == {"no_worthwhile_difference"}


def test_golden_chance_over_its_two_gates():
    found = Counter(chance_of(enough, beyond) for enough, beyond in product(STATES, repeat=2))
    assert found == {"more_than_chance": 2, "close": 2, "not_shown": 5}


def test_golden_reading_over_its_six_gates():
    found = Counter(reading_of(states) for states in every(READING_GATES))
    assert found == {"as_far_as_seen": 16, "in_part": 93, "no": 620}


@pytest.mark.parametrize("limits", [BENEFIT, HARM, SMALL])
def test_no_gate_moved_towards_met_ever_weakens_the_word(limits):
    found = words(**limits)
    for states, word in found.items():
        for place, state in enumerate(states):
            if state != "met":
                better = (*states[:place], STATES[STATES.index(state) + 1], *states[place + 1 :])
                assert WORDS.index(found[better]) >= WORDS.index(word), (states, place)


# ---- what was not assessed ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("limits", [BENEFIT, HARM, SMALL])
@pytest.mark.parametrize("name", GATES)
def test_a_gate_not_assessed_never_gives_a_word(name, limits):
    others = [gate for gate in GATES if gate != name]
    for states in every(others):
        found = decide({**states, name: "not_assessed"}, **limits)
        assert (found.word, found.reason, found.assessed) == ("cannot_tell", "not_all_checked", 7)


def test_a_gate_not_assessed_is_read_as_not_met():
    met = dict.fromkeys(READING_GATES, "met")
    for name in READING_GATES:
        assert reading_of({**met, name: "not_assessed"}) == reading_of({**met, name: "not_met"})
    assert chance_of("not_assessed", "met") == chance_of("met", "not_assessed") == "not_shown"


# ---- direction and size ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "direction", "size"),
    [
        (0.06, 0.20, "benefit", "at_least_worthwhile"),
        (0.05, 0.20, "benefit", "at_least_worthwhile"),
        (0.01, 0.20, "benefit", "may_be_smaller_than_worthwhile"),
        (-0.20, -0.05, "harm", "at_least_worthwhile"),
        (-0.20, -0.01, "harm", "may_be_smaller_than_worthwhile"),
        (-0.20, 0.20, "none", "none"),
    ],
)
def test_direction_and_size(low, high, direction, size):
    found = decide(dict.fromkeys(GATES, "met"), low=low, high=high, worthwhile=0.05)
    assert (found.direction, found.size) == (direction, size)


def test_a_difference_surely_smaller_than_worthwhile_is_never_called_a_benefit():
    # condition (g) of the method: interval .002 to .018, smallest worthwhile 5 points
    for states in every():
        found = decide(states, low=0.002, high=0.018, worthwhile=0.05)
        assert found.size == "smaller_than_worthwhile"
        assert not (found.word != "cannot_tell" and found.direction == "benefit")


def test_nothing_estimated_gives_no_word_and_no_direction():
    found = decide(dict.fromkeys(GATES, "not_met"), low=-1.0, high=1.0, worthwhile=0.05)
    assert (found.word, found.chance, found.reading) == ("cannot_tell", "not_shown", "no")
    assert (found.direction, found.size) == ("none", "none")


def test_thresholds_are_those_of_the_method():
    assert thresholds() == {
        "model": {"fewest_mishaps": 8, "never_beyond_chance_mishaps": 5},
        "seen": {"met_documented_dead": 0.8, "met_largest_gap": 0.1, "partly_documented_dead": 0.5},
        "enough": {
            "met_mishaps": 15,
            "met_people": 20,
            "met_df": 8,
            "partly_mishaps": 8,
            "partly_people": 10,
            "partly_within_p": 0.01,
        },
        "beyond_chance": {"met_level": 0.95, "partly_level": 0.9},
        "comparable": {"met_inside": 0.8, "partly_inside": 0.6, "met_effective": 0.5},
        "reading": {
            "as_far_most_not_fully_met": 2,
            "in_part_most_not_met": 1,
            "in_part_most_not_fully_met": 4,
        },
    }


def test_gate_names_are_codes():
    assert len(set(GATES)) == 8
    assert all(re.fullmatch(r"[a-z_]+", name) for name in GATES)
