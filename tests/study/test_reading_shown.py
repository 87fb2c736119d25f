"""Every reading that gates can lead to has its sentence, and a reason."""

from __future__ import annotations

from itertools import product

from survstats.challenge.verdict import GATES, READING_GATES, Gate, Interval, decide
from survstats.report.wording import Facts, Wording
from survstats.study.verdict_told import reading_shown

STATES = ("met", "partly_met", "not_met", "not_assessed")
WORDS = Wording(Facts({}))


def test_every_state_of_the_gates_leads_to_a_reading_with_its_sentence():
    seen = set()
    for states in product(STATES, repeat=len(GATES)):
        named = dict(zip(GATES, states, strict=True))
        gates = {name: Gate(name, state, "x") for name, state in named.items()}
        verdict = decide(named, Interval(0.01, 0.2, 0.05))
        reading, why = reading_shown(gates, verdict, estimated=True)
        seen.add((reading, why))
        assert reading == verdict.reading
    for reading, _ in seen:
        assert WORDS.has(f"word.reading.{reading}")
    assert {reading for reading, _ in seen} == {"as_far_as_seen", "in_part", "no"}
    alone = {why for reading, why in seen if reading == "no"} - {"several"}
    assert alone == set(READING_GATES)


def test_without_an_estimate_there_is_nothing_to_read():
    gates = {name: Gate(name, "met", "x") for name in GATES}
    verdict = decide(dict.fromkeys(GATES, "met"), Interval(-1, 1, 0.05))
    assert reading_shown(gates, verdict, estimated=False) == ("no", "no_estimate")
    gates["seen"] = Gate("seen", "not_met", "survivor_only")
    assert reading_shown(gates, verdict, estimated=False) == ("no", "survivor_only")
