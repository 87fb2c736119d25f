"""Which words, codes and lists may leave the house, and what is said in place of those that may not?

A code goes where the number it speaks of goes, the state of a gate or a challenge where the counts and figures behind
it go; where one gate is withheld, so is the word.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from survstats.challenge.battery import FIGURES
from survstats.study.counting import COMPARED
from survstats.study.open_ids import OPEN_LISTS, is_open
from survstats.study.results import MASKED, Table
from survstats.study.results_builder import ResultsBuilder

_WORD = re.compile(r"[a-z_]*")
#: Codes that tell something of a number, and go where it goes.
_CODES = {
    "adequacy.calibration": "adequacy.calibration_slope",
    "effect.one_arm_hangs": "effect.rd",
    "effect.roads": "effect.augmented_gap",
    "flip.kind": "flip.p",
    "random.reading": "random.difference",
    "random.spread_state": "random.spread",
    "fitness.shift_group": "fitness.largest_shift",
    "impact_death.alarm": "impact_death.rd",
    "miscoding.touched": "miscoding.moved",
    "tipping.chance_state": "tipping.expected",
    "tipping.difference_state": "tipping.expected",
    "tipping.way": "tipping.expected",
}

#: Which counts the state of a gate rests on, beside the four groups compared.
_GATES: Mapping[str, Sequence[str]] = {
    "seen": (
        *(f"seen.{name}_{fate}" for name in ("documented", "unknown") for fate in ("died", "survived")),
        *("seen.died", "seen.survived"),
    ),
    "enough": ("cohort.died", "cohort.survived", "seen.trained", "seen.untrained"),
    "unknown_status": ("seen.unknown_died", "seen.unknown_survived"),
    "miscoding": ("seen.documented_died", "seen.died"),
}


def shared_codes(out: ResultsBuilder, closed: frozenset[str]) -> tuple[dict[str, str], Table]:
    """The codes and the table of gates, without those that rest on a count that is withheld."""
    codes = {name: code for name, code in out.codes.items() if _WORD.fullmatch(code)}
    codes["paper.audience"] = "sharing"
    rows = []
    for gate, state, finding in out.tables["gates"].rows:
        if closed & {*COMPARED, *_GATES.get(str(gate), ())}:
            state, finding = "not_assessed", MASKED
            codes[f"gate.{gate}.state"], codes[f"gate.{gate}.finding"] = state, finding
        rows.append((gate, state, finding))
    if codes["brief.form"] == "estimated" and closed & set(COMPARED):
        codes["brief.form"] = MASKED
    if any(finding == MASKED for _, _, finding in rows):
        codes |= {"verdict.word": "cannot_tell", "verdict.reason": MASKED, "verdict.reading": "no"}
        codes |= {"verdict.reading_shown": MASKED, "verdict.reading_why": MASKED}
        codes |= {"verdict.borderline": "no", "verdict.word_at_lower_floor": "cannot_tell"}
        codes |= {"verdict.few_mishaps_route": "no", "change.up_word": "none"}
    if codes["gate.beyond_chance.finding"] == MASKED:
        codes |= {"verdict.chance": "not_shown", "verdict.direction": "none", "verdict.size": "none"}
        codes |= {"verdict.chance_shown": MASKED, "verdict.chance_why": MASKED}
    if closed & {*COMPARED, "seen.unknown", "seen.unknown_died"}:
        codes["records.left_out"] = "left_out_alike"
    for code, number in _CODES.items():
        if code in codes and not is_open(out, number, closed):
            del codes[code]
    if "claim.trained_of_survivors" in out.numbers and not is_open(out, "claim.trained_of_survivors", closed):
        del codes["claim.share"]
    return codes, Table(out.tables["gates"].columns, tuple(rows))


def shared_challenges(out: ResultsBuilder, closed: frozenset[str]) -> dict[str, str]:
    """State and finding of each challenge, withheld where a figure behind it is, or a group compared."""
    told = {}
    for name, figures in FIGURES.items():
        there = [one for one in figures if one in out.numbers]
        hidden = closed & set(COMPARED) or not all(
            (one in out.people and one not in closed) or is_open(out, one, closed) for one in there
        )
        for part, withheld in (("state", "not_assessable"), ("finding", MASKED)):
            code = f"challenge.{name}.{part}"
            told[code] = withheld if hidden else out.codes[code]
    return told


def challenge_rows(out: ResultsBuilder, told: Mapping[str, str]) -> Table:
    """The table of challenges, of the states and findings that `shared_challenges` tells."""
    columns = out.tables["challenges"].columns
    return Table(
        columns,
        tuple((name, told[f"challenge.{name}.state"], told[f"challenge.{name}.finding"]) for name in FIGURES),
    )


def shared_lists(out: ResultsBuilder, closed: frozenset[str]) -> dict[str, Sequence[str]]:
    """The lists of words: those of the plan, of fields, and what a gate or the word names where it may be told."""
    shared: dict[str, Sequence[str]] = {
        name: list(words) for name, words in out.lists.items() if OPEN_LISTS.match(name)
    }
    if "gaps.fields" in out.lists:  # by its place in the order a withheld field would tell how large it is
        shared["gaps.fields"] = [
            name
            for name in out.lists["gaps.fields"]
            if not any(one in closed for one in out.people if one.startswith(f"gaps.{name}."))
        ]
    if out.lists.get("population.operators"):
        shared["population.operators"] = [MASKED]
    if not closed & set(COMPARED):
        shared |= {name: list(words) for name, words in out.lists.items() if name.startswith("gate.")}
    masked = closed & {*COMPARED, *(count for counts in _GATES.values() for count in counts)}
    for name in ("change.up", "change.down"):
        shared[name] = [] if masked else list(out.lists[name])
    return shared
