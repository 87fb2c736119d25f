"""Other evidence and the word: over all states never weaker, never two steps, monotone, and each condition bites."""

from __future__ import annotations

from itertools import product

import pytest

from survstats.decision.lifted_word import Others, Own, lift

WORDS = ("cannot_tell", "suggests", "supports")
SEEN = ("not_assessed", "not_met", "partly_met", "met")
SIDES = ("none", "benefit", "harm")

OWNS = [Own(*one) for one in product(WORDS, SEEN, SIDES, (True, False))]
OTHERS = [Others(*one) for one in product((0, 2, 3, 9), (True, False), SIDES)]


def test_over_all_states_the_word_is_never_weaker_and_never_two_steps_stronger():
    steps = [
        WORDS.index(lift(own, others)[0]) - WORDS.index(own.word) for own, others in product(OWNS, OTHERS)
    ]
    assert len(steps) == 1728
    assert set(steps) == {0, 1}


def test_it_is_lifted_exactly_where_every_condition_holds():
    """Written again the other way round: two words times two states of gate 1 times two sides times two sizes."""
    lifted = [(own, others) for own, others in product(OWNS, OTHERS) if lift(own, others)[1] == "lifted"]
    assert len(lifted) == 2 * 2 * 2 * 2
    for own, others in lifted:
        assert own.word != "supports"
        assert own.seen in ("met", "partly_met")
        assert not own.inside
        assert own.direction == others.direction != "none"
        assert others.pooled >= 3
        assert not others.any_high


def test_better_evidence_never_gives_a_weaker_word():
    for own, others in product(OWNS, OTHERS):
        word = WORDS.index(lift(own, others)[0])
        better = [
            (own, Others(others.pooled + 1, others.any_high, others.direction)),
            (own, Others(others.pooled, False, others.direction)),
            (Own(own.word, SEEN[min(SEEN.index(own.seen) + 1, 3)], own.direction, own.inside), others),
            (Own(WORDS[min(WORDS.index(own.word) + 1, 2)], own.seen, own.direction, own.inside), others),
        ]
        assert all(WORDS.index(lift(*one)[0]) >= word for one in better)


@pytest.mark.parametrize(
    ("own", "others", "why"),
    [
        ({"word": "supports"}, {}, "already_strongest"),
        ({"seen": "not_met"}, {}, "seen_not_met"),
        ({"seen": "not_assessed"}, {}, "seen_not_met"),
        ({"direction": "none"}, {}, "no_own_direction"),
        ({"inside": True}, {}, "inside"),
        ({}, {"pooled": 2}, "too_few_studies"),
        ({}, {"any_high": True}, "high_risk_of_bias"),
        ({}, {"direction": "none"}, "not_beyond_chance"),
        ({}, {"direction": "harm"}, "other_direction"),
        ({}, {}, "lifted"),
    ],
)
def test_each_condition_alone_holds_the_word_back(own, others, why):
    ours = Own(
        **{"word": "cannot_tell", "seen": "partly_met", "direction": "benefit", "inside": False, **own}
    )
    theirs = Others(**{"pooled": 4, "any_high": False, "direction": "benefit", **others})
    word, found = lift(ours, theirs)
    assert found == why
    assert word == ("suggests" if why == "lifted" else ours.word)
