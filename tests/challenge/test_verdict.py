"""Does the word follow from the gates as agreed, over every state they can take?"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from itertools import combinations, product

import pytest

from survstats.challenge.verdict import (
    GATES,
    READING_GATES,
    Gate,
    Interval,
    borderline,
    chance_of,
    decide,
    reading_of,
    thresholds,
    what_would_change,
)

STATES = ("not_met", "partly_met", "met")
WORDS = ("cannot_tell", "suggests", "supports")
BENEFIT = Interval(0.06, 0.20, 0.05)
HARM = Interval(-0.20, -0.06, 0.05)
SMALL = Interval(-0.02, 0.03, 0.05)
NO_MODEL = Interval(None, None, 0.05, 1)


def every(gates=GATES):
    for states in product(STATES, repeat=len(gates)):
        yield dict(zip(gates, states, strict=True))


def words(about):
    return {tuple(states.values()): decide(states, about).word for states in every()}


# ---- listed counts (enumerated twice by independent code) ---------------------------------------------------------


@pytest.mark.parametrize("limits", [BENEFIT, HARM, NO_MODEL, replace(NO_MODEL, sign=-1)])
def test_golden_words_over_all_states(limits):
    assert Counter(words(limits).values()) == {"supports": 16, "suggests": 202, "cannot_tell": 6343}


def test_golden_no_worthwhile_difference_over_all_states():
    found = [decide(states, SMALL) for states in every()]
    assert Counter(one.word for one in found) == {"supports": 288, "cannot_tell": 6273}
    assert {one.direction for one in found if one.word == "supports"} == {"no_worthwhile_difference"}


def test_golden_chance_over_its_two_gates():
    found = Counter(chance_of(enough, beyond) for enough, beyond in product(STATES, repeat=2))
    assert found == {"more_than_chance": 2, "close": 2, "not_shown": 5}


def test_golden_reading_over_its_six_gates():
    found = Counter(reading_of(states) for states in every(READING_GATES))
    assert found == {"as_far_as_seen": 16, "in_part": 93, "no": 620}


@pytest.mark.parametrize("limits", [BENEFIT, HARM, SMALL, NO_MODEL])
def test_no_gate_moved_towards_met_ever_weakens_the_word(limits):
    found = words(limits)
    for states, word in found.items():
        for place, state in enumerate(states):
            if state != "met":
                better = (*states[:place], STATES[STATES.index(state) + 1], *states[place + 1 :])
                assert WORDS.index(found[better]) >= WORDS.index(word), (states, place)


# ---- what was not assessed ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("limits", [BENEFIT, HARM, SMALL, NO_MODEL])
@pytest.mark.parametrize("name", GATES)
def test_a_gate_not_assessed_counts_as_not_met(name, limits):
    for states in every([gate for gate in GATES if gate != name]):
        found = decide({**states, name: "not_assessed"}, limits)
        assert replace(found, assessed=8) == decide({**states, name: "not_met"}, limits)
        assert found.assessed == 7


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
    found = decide(dict.fromkeys(GATES, "met"), Interval(low, high, 0.05))
    assert (found.direction, found.size) == (direction, size)


def test_a_difference_surely_smaller_than_worthwhile_is_never_called_a_benefit():
    # condition (g) of the method: interval .002 to .018, smallest worthwhile 5 points
    for states in every():
        found = decide(states, Interval(0.002, 0.018, 0.05))
        assert found.size == "smaller_than_worthwhile"
        assert not (found.word != "cannot_tell" and found.direction == "benefit")


def test_nothing_estimated_gives_no_word_and_no_direction():
    found = decide(dict.fromkeys(GATES, "not_met"), Interval(-1.0, 1.0, 0.05))
    assert (found.word, found.chance, found.reading) == ("cannot_tell", "not_shown", "no")
    assert (found.direction, found.size) == ("none", "none")


@pytest.mark.parametrize(
    ("sign", "beyond", "direction"),
    [(1, "met", "benefit"), (-1, "met", "harm"), (1, "not_met", "none"), (0, "not_met", "none")],
)
def test_without_a_model_the_direction_is_the_sign_where_it_is_more_than_chance(sign, beyond, direction):
    states = {**dict.fromkeys(GATES, "met"), "enough": "partly_met", "beyond_chance": beyond}
    found = decide(states, Interval(None, None, 0.05, sign))
    assert (found.direction, found.size) == (direction, "none")
    assert found.word == ("suggests" if beyond == "met" else "cannot_tell")


def test_what_was_found_is_a_direction_unless_all_of_it_is_smaller_than_worthwhile():
    def rule(low, high):
        return Interval(low, high, 0.05).rule

    assert rule(-0.049, 0.049) == rule(0.002, 0.018) == "inside"
    assert rule(-0.05, 0.01) == rule(-0.01, 0.05) == rule(0.01, 0.2) == rule(None, None) == "sign"


# ---- borderline and what would change it ----------------------------------------------------------------------------


def gates(also, **states):
    met = dict.fromkeys(GATES, "met") | states
    return tuple(Gate(name, state, "x", also.get(name, ())) for name, state in met.items())


def test_borderline_is_another_word_with_another_seed_not_another_state():
    assert not borderline(gates({}), BENEFIT)
    # one gate of reading partly met changes no word; not met it does
    assert not borderline(gates({"unknown_status": ("partly_met",)}), BENEFIT)
    assert borderline(gates({"unknown_status": ("not_met",)}), BENEFIT)
    assert borderline(gates({"choices": ("met",)}, choices="not_met"), BENEFIT)
    assert not borderline(gates({"choices": ("met",)}, choices="not_met", seen="not_met"), BENEFIT)


def test_borderline_tries_the_states_of_several_gates_together():
    both = {"miscoding": ("partly_met",), "choices": ("partly_met",)}
    for name in both:
        assert not borderline(gates({name: both[name]}, comparable="partly_met"), BENEFIT)
    assert borderline(gates(both, comparable="partly_met"), BENEFIT)


def brute_change(states, limits):
    """What would change the word, looked up in all states: no pair is left untried, whatever the rule says."""
    word = decide(states, limits).word
    ups = {}
    for many in (1, 2):
        for names in combinations(GATES, many):
            better = decide({**states, **dict.fromkeys(names, "met")}, limits).word
            if WORDS.index(better) > WORDS.index(word) and all(states[name] != "met" for name in names):
                ups[names] = better
        if ups:
            break
    lowest = min(ups.values(), key=WORDS.index, default="none")
    down = [
        name
        for name in GATES
        if WORDS.index(decide({**states, name: "not_met"}, limits).word) < WORDS.index(word)
    ]
    return lowest, tuple(names for names, better in ups.items() if better == lowest), tuple(down)


@pytest.mark.parametrize("limits", [BENEFIT, SMALL])
def test_what_would_change_the_word_is_whole_and_smallest(limits):
    for at, states in enumerate(every()):
        if at % 7 == 0:
            found = what_would_change(states, limits)
            assert (found.up_word, found.up, found.down) == brute_change(states, limits)


def test_what_would_change_by_hand():
    met = dict.fromkeys(GATES, "met")
    found = what_would_change({**met, "seen": "not_met", "enough": "partly_met"}, BENEFIT)
    assert (found.up_word, found.up) == ("suggests", (("seen",),))
    assert found.down == ()
    found = what_would_change({**met, "enough": "partly_met"}, BENEFIT)
    assert (found.up_word, found.up) == ("supports", (("enough",),))
    assert set(found.down) == {
        "seen",
        "enough",
        "beyond_chance",
        "unknown_status",
        "miscoding",
        "other_explanations",
    }
    found = what_would_change({**met, "other_explanations": "partly_met"}, BENEFIT)
    assert (found.up_word, found.up) == ("supports", (("other_explanations",),))
    assert what_would_change(met, BENEFIT).up_word == "none"
    assert set(what_would_change(met, BENEFIT).down) == set(GATES)
    # from nothing: more than two gates would have to change
    assert what_would_change(dict.fromkeys(GATES, "not_met"), BENEFIT).up == ()


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
        "beyond_chance": {
            "met_level": 0.95,
            "partly_level": 0.9,
            "within_met_p": 0.01,
            "within_met_p_without_one": 0.05,
            "within_met_sign_p": 0.05,
            "within_partly_p": 0.05,
            "within_partly_sign_p": 0.1,
        },
        "unknown_status": {"largest_delta": 1.0},
        "miscoding": {"fewest_documented_dead": 10, "met_level": 0.95, "partly_level": 0.9},
        "other_explanations": {"lower_floor": 0.5},
        "choices": {"listed": 24, "met_share": 0.9, "partly_share": 0.75},
        "borderline": {"monte_carlo_errors": 3.0},
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
