"""Every reading that gates can lead to has a reason, and every reason a sentence."""

from __future__ import annotations

from itertools import product

from survstats.challenge.verdict import GATES, Gate, decide
from survstats.report.wording import Facts, Wording
from survstats.study.judging import reading_shown

STATES = ("met", "partly_met", "not_met", "not_assessed")
WORDS = Wording(Facts({}))


def test_every_state_of_the_gates_leads_to_a_reading_with_its_sentence():
    seen = set()
    for states in product(STATES, repeat=len(GATES)):
        named = dict(zip(GATES, states, strict=True))
        gates = {name: Gate(name, state, "x") for name, state in named.items()}
        verdict = decide(named, low=0.01, high=0.2, worthwhile=0.05)
        reading, why = reading_shown(gates, verdict, estimated=True)
        seen.add((reading, why))
        if "not_assessed" not in states:
            assert reading == verdict.reading
        elif reading == "no":
            best = {name: "met" if state == "not_assessed" else state for name, state in named.items()}
            assert decide(best, low=0.01, high=0.2, worthwhile=0.05).reading == "no"
    for reading, why in seen:
        assert WORDS.has(f"word.reading.{reading}")
        assert WORDS.has(f"word.reading_why.{why}"), why
    assert {reading for reading, _ in seen} == {"open", "as_far_as_seen", "in_part", "no"}


def test_without_an_estimate_there_is_nothing_to_read():
    gates = {name: Gate(name, "met", "x") for name in GATES}
    verdict = decide(dict.fromkeys(GATES, "met"), low=-1, high=1, worthwhile=0.05)
    assert reading_shown(gates, verdict, estimated=False) == ("no", "no_estimate")
    gates["seen"] = Gate("seen", "not_met", "survivor_only")
    assert reading_shown(gates, verdict, estimated=False) == ("no", "survivor_only")
