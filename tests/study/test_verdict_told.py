"""Which word is told beside the word: the one at the floor of the rule, whatever floor the study file asks for."""

from __future__ import annotations

import pytest

from survstats.challenge.doubt_figures import ChoicesFigures, MiscodingFigures, OtherFigures, UnknownFigures
from survstats.challenge.doubts import other_explanations_gate
from survstats.challenge.verdict import GATES, Gate, Interval, thresholds
from survstats.groundwork.estimate import Estimate
from survstats.study.judging import Figures
from survstats.study.results_builder import ResultsBuilder
from survstats.study.verdict_told import store_verdict

ABOUT = Interval(0.05, 0.25, 0.05, 1)
WHOLE = Estimate(0.15, 0.05, 0.25, 0.05, 0.95, 9.0, "identity", "difference", "m", 30, 300)
ODDS = Estimate(2.0, 1.2, 3.4, 0.3, 0.95, 9.0, "log", "odds_ratio", "m", 30, 300)


def words_at(floor, *, limit, estimate):
    """The word at the study's floor, and the one stored beside it, where all other gates are met."""
    other = OtherFigures(WHOLE, WHOLE, WHOLE, ODDS, limit, estimate, floor, 0.01, 0.05, False)
    sixth = other_explanations_gate(other, ABOUT)
    gates = tuple(sixth if name == sixth.name else Gate(name, "met", "x") for name in GATES)
    unread = (UnknownFigures(0, None, None), MiscodingFigures(0, None, None), other, ChoicesFigures(24, 24))
    out = ResultsBuilder()
    out.count("cohort.mishaps", 30)
    store_verdict(out, gates, Figures(ABOUT, None, None, None, None, *unread))
    return out.codes["verdict.word"], out.codes["verdict.word_at_lower_floor"]


@pytest.mark.parametrize(
    ("floor", "limit", "estimate", "words"),
    [
        (0.2, 0.25, 0.45, ("supports", "cannot_tell")),  # a lenient floor is told for what it is
        (0.2, 0.25, 0.55, ("supports", "suggests")),
        (0.75, 0.6, 0.9, ("suggests", "supports")),
        (0.75, 0.8, 0.9, ("supports", "supports")),
    ],
)
def test_the_word_beside_the_word_is_always_at_the_floor_that_the_page_prints(floor, limit, estimate, words):
    assert thresholds()["other_explanations"]["lower_floor"] == 0.5
    assert words_at(floor, limit=limit, estimate=estimate) == words
