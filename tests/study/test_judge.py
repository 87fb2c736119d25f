"""Does a study get the word that its records earn, from files to verdict?

The constructed studies are conditions of the design's own list; nothing in them is estimated from elsewhere.
"""

from __future__ import annotations

import datetime
import random
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from itertools import count

import pandas as pd
import pytest
from thin import THIN

from survstats.challenge import choice_list, doubts, gates, verdict
from survstats.challenge.battery import CHALLENGES, FIGURES
from survstats.challenge.doubt_figures import ChoicesFigures
from survstats.challenge.few_mishaps import WithinRoute
from survstats.challenge.verdict import GATES, THRESHOLDS_FILE
from survstats.effects.overlap import Overlap
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.study import agreed, estimating
from survstats.study.everybody import everybody
from survstats.study.judge import judge
from survstats.study.plan import read_study
from survstats.study.results_builder import ResultsBuilder
from survstats.study.run import refuse_errors
from survstats.study.steps import find, read_records

TODAY = datetime.date(2026, 11, 24)
FIRST_DAY = datetime.date(2001, 1, 10)
STUDY_FILE = """\
title = "Constructed"
invented = true

[question]
currency_months = 24
smallest_worthwhile_points = 5

[model]
covariates = ["role", "operator_code"]

[run]
seed = 7
"""
TRAINED = ("yes", "underwater_escape", "a hundred days before", "day", "certificate")
NEVER = ("no", "none", "", "", "roster")
UNKNOWN = ("unknown", "unknown", "", "", "none")
TRAINING = ("ever", "type", "last_date", "date_precision", "evidence")


def person(training, *, alive):
    fields = {f"training_{name}": value for name, value in zip(TRAINING, training, strict=True)}
    fate = (
        {"outcome": "survived", "egress_outcome": "self", "cause_of_death": "na", "days_to_death": ""}
        if alive
        else {
            "outcome": "died",
            "egress_outcome": "not_egressed",
            "cause_of_death": "drowning_inside",
            "days_to_death": "0",
        }
    )
    return {**fields, **fate, "alive_at_immersion": "yes"}


def write_study(folder, mishaps: Iterator[list[dict[str, str]]]):
    """A study folder from the people of each mishap; every third seat is the crew's, every other mishap of operator S.

    Who sits where is drawn, so that neither training nor fate goes with the seat.
    """
    folder.mkdir()
    of_mishaps, people = [], []
    for at, aboard in enumerate(mishaps):
        name, day = f"M-{at:03d}", FIRST_DAY + at * datetime.timedelta(days=11)
        crew = len(aboard[::3])
        random.Random(at).shuffle(aboard)
        of_mishaps.append(
            {
                "mishap_id": name,
                "event_date": day.isoformat(),
                "operator_code": "NS"[at % 2],
                "aircraft_class": "C_heavy_3c16p",
                "n_crew": crew,
                "n_pax": len(aboard) - crew,
                "n_aboard": len(aboard),
                "impact_survivability": "survivable",
                "report_quality": "A",
                "status_ascertained_by": "roster_all",
                "coded_blind": "yes",
            }
        )
        number = count(1)
        for place, one in enumerate(aboard):
            role = "passenger" if place % 3 else "flight_crew"
            course = one["training_last_date"] and (day - datetime.timedelta(days=100)).isoformat()
            told = {**one, "training_last_date": course}
            people.append({"mishap_id": name, "occupant_id": f"{next(number):02d}", "role": role, **told})
    pd.DataFrame(of_mishaps).to_csv(folder / "mishap.csv", index=False)
    pd.DataFrame(people).to_csv(folder / "occupant.csv", index=False)
    (folder / "study.toml").write_text(STUDY_FILE, encoding="utf-8")
    return read_study(folder)


def judged(study, *, whole=False):
    records = read_records(study)
    findings = find(records, study=study, today=TODAY)
    refuse_errors(findings)
    out = ResultsBuilder()
    agreed.store_findings(out, findings, study.accepted)
    judge(out, study, everybody(study, records), banners=out.lists["records.banners"], whole=whole)
    return out


def states(out):
    return {name: (out.codes[f"gate.{name}.state"], out.codes[f"gate.{name}.finding"]) for name in GATES}


def people(trained_alive=0, trained_dead=0, never_alive=0, never_dead=0, unknown_dead=0):
    return [
        *(person(TRAINED, alive=True) for _ in range(trained_alive)),
        *(person(TRAINED, alive=False) for _ in range(trained_dead)),
        *(person(NEVER, alive=True) for _ in range(never_alive)),
        *(person(NEVER, alive=False) for _ in range(never_dead)),
        *(person(UNKNOWN, alive=False) for _ in range(unknown_dead)),
    ]


def six_mishaps():
    """58 of 60 trained and 12 of 60 untrained lived, in every mishap the trained more often."""
    return [people(10 - lost, lost, 2, 8) for lost in (0, 0, 0, 0, 1, 1)]


def twenty_with_unknown():
    """180 trained and 20 untrained survivors; of 40 dead 18 documented untrained and 22 of unknown training."""
    return [people(9, 0, 1, 0 if at < 2 else 1, 2 if at < 2 else 1) for at in range(20)]


def twenty_without_a_trained_death():
    """0 of 200 trained and 19 of 100 untrained died."""
    return [people(10, 0, 5 - (at > 0), int(at > 0)) for at in range(20)]


def large_and_quiet():
    """20 of 2,000 trained and 40 of 2,000 untrained died: a point in a hundred."""
    return [
        people(5 - (at % 20 == 0), int(at % 20 == 0), 5 - (at % 10 == 5), int(at % 10 == 5))
        for at in range(400)
    ]


@pytest.mark.parametrize("mishaps", [six_mishaps, twenty_with_unknown, twenty_without_a_trained_death])
def test_a_huge_difference_that_can_be_seen_is_at_least_suggested(tmp_path, mishaps):
    out = judged(write_study(tmp_path / "study", mishaps()))
    assert out.codes["verdict.word"] in ("suggests", "supports"), states(out)
    assert out.codes["verdict.direction"] == "benefit"
    assert out.codes["verdict.borderline"] == "no"


def test_six_mishaps_take_the_route_of_few_mishaps(tmp_path):
    out = judged(write_study(tmp_path / "study", six_mishaps()))
    assert "effect.rd" not in out.numbers
    assert out.codes["verdict.few_mishaps_route"] == "yes"
    assert states(out)["beyond_chance"] == ("met", "within_route")
    assert out.numbers["gate.beyond_chance.sign_p"].value == 2 * 0.5**6  # six of six one way
    assert out.numbers["gate.beyond_chance.p_without_one"].value < 1e-6


def test_the_same_six_mishaps_turned_over_are_told_as_harm(tmp_path):
    turned = [people(2, 8, 10 - lost, lost) for lost in (0, 0, 0, 0, 1, 1)]
    out = judged(write_study(tmp_path / "study", turned))
    assert out.codes["verdict.word"] == "suggests", states(out)
    assert out.codes["verdict.direction"] == "harm"


def test_the_worst_case_of_the_twenty_mishaps_is_the_designs(tmp_path):
    out = judged(write_study(tmp_path / "study", twenty_with_unknown()))
    assert out.numbers["unknown.rd_low"].value == pytest.approx(0.365, abs=5e-4)
    assert states(out)["seen"][0] == "partly_met"


def test_a_difference_too_small_to_matter_is_never_called_a_benefit(tmp_path):
    out = judged(write_study(tmp_path / "study", large_and_quiet()))
    found = out.numbers["effect.rd"]
    assert (found.low, found.high) == pytest.approx((0.002, 0.018), abs=2e-3)
    assert out.codes["verdict.direction"] != "benefit"
    assert out.codes["verdict.size"] == "smaller_than_worthwhile"
    assert out.codes["verdict.word"] in ("supports", "cannot_tell")


def test_survivors_alone_tell_nothing_but_a_range(demo_results):
    results = demo_results["demo_survivor_only"]
    assert results.codes["verdict.word"] == "cannot_tell"
    assert results.numbers["claim.rd_low"].value < 0 < results.numbers["claim.rd_high"].value
    assert 0 < results.numbers["claim.trained_of_survivors"].value < 1  # where the dead would mean no effect
    assert results.codes["challenge.survivor_headline.finding"] == "alone"


WORDS = {"demo_main": "cannot_tell", "demo_null": "cannot_tell", "demo_small": "cannot_tell"}


@pytest.mark.parametrize("name", WORDS)
def test_the_word_of_the_demos(demo_results, name):
    codes = demo_results[name].codes
    assert (codes["verdict.word"], codes["verdict.reason"]) == (WORDS[name], "gates")
    assert codes["verdict.borderline"] == "no"


def test_what_is_left_out_for_speed_changes_no_gate(demo_results):
    out, whole = judged(read_study(demo_folder("demo_small"))), demo_results["demo_small"]
    for name, code in whole.codes.items():
        if name.startswith(("gate.", "verdict.", "change.")):
            assert out.codes[name] == code, name
    assert out.lists["change.up"] == whole.lists["change.up"]


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_every_challenge_is_stored_with_the_figures_behind_it(demo_results, name):
    results = demo_results[name]
    assert [row[0] for row in results.tables["challenges"].rows] == list(CHALLENGES)
    for challenge, state, finding in results.tables["challenges"].rows:
        assert results.codes[f"challenge.{challenge}.state"] == state
        assert results.codes[f"challenge.{challenge}.finding"] == finding
        for figure in FIGURES[challenge]:
            assert (figure in results.numbers) != (figure in results.absent), figure


@pytest.mark.parametrize("name", THIN)
def test_thin_studies_take_up_what_they_can_and_say_of_the_rest_that_they_cannot(thin_results, name):
    results = thin_results[name]
    told = {row[0]: row[1:] for row in results.tables["challenges"].rows}
    assert list(told) == list(CHALLENGES)
    assert results.codes["verdict.word"] == "cannot_tell"
    if "effect.rd" not in results.numbers:
        for challenge in ("wrong_entries", "one_mishap", "calibration", "under_reporting"):
            assert told[challenge][0] in ("not_assessable", "holds"), challenge
            assert told[challenge][0] == "not_assessable" or told[challenge][1].startswith("no")


def test_what_would_lift_the_word_names_gates_that_are_not_fully_met(demo_results):
    for results in demo_results.values():
        open_gates = {row[0] for row in results.tables["gates"].rows if row[1] != "met"}
        assert set(results.lists["change.up"]) <= open_gates
        assert (results.codes["change.up_word"] == "none") == (not results.lists["change.up"])


def test_a_higher_floor_of_fitness_is_harder_to_meet(tmp_path):
    study = write_study(tmp_path / "study", twenty_without_a_trained_death())
    met = []
    for floor in (0.75, 3.0):
        challenge = study.plan.challenge.model_copy(update={"fitness_floor": floor})
        out = judged(replace(study, plan=study.plan.model_copy(update={"challenge": challenge})))
        met.append(states(out)["other_explanations"])
        assert out.numbers["fitness.floor"].value == floor
    assert met == [("met", "met"), ("partly_met", "strength_limit")]


@pytest.mark.slow
def test_twenty_seeds_give_one_word_or_the_page_says_borderline():
    study = read_study(demo_folder("demo_main"))
    people_there = everybody(study, read_records(study))
    words, said = set(), set()
    for seed in range(20):
        plan = study.plan.model_copy(update={"run": study.plan.run.model_copy(update={"seed": seed})})
        out = ResultsBuilder()
        judge(out, replace(study, plan=plan), people_there, banners=(), whole=False)
        words.add(out.codes["verdict.word"])
        said.add(out.codes["verdict.borderline"])
    assert len(words) == 1 or said == {"yes"}


def test_few_mishaps_that_contradict_the_plain_difference_give_no_strength_and_no_silent_number(tmp_path):
    """In five of six mishaps the trained do better; all taken together they do worse, since most flew in the worst."""
    mishaps = [
        *(people(trained_alive=2, never_alive=7, never_dead=3) for _ in range(5)),
        people(trained_alive=8, trained_dead=32, never_alive=2, never_dead=6),
    ]
    out = judged(write_study(tmp_path / "study", mishaps))
    assert out.numbers["crude.rd_exact"].value < 0
    assert "gate.beyond_chance.p" in out.numbers  # the mishaps were compared
    for name in ("fitness.strength_estimate", "fitness.odds_estimate"):
        assert name not in out.numbers
        assert out.absent[name] == "opposite_signs"
    assert states(out)["other_explanations"] == ("not_met", "not_estimated")


# ---- every threshold that is sealed decides something ---------------------------------------------------------------


class Noted(dict):
    """Thresholds that note which of them was asked for."""

    def __init__(self, rule, noted, gate=""):
        super().__init__(rule)
        self.noted, self.gate = noted, gate

    def __getitem__(self, key):
        found = super().__getitem__(key)
        if isinstance(found, dict):
            return Noted(found, self.noted, key)
        self.noted.add((self.gate, key))
        return found


def noting(monkeypatch):
    """Every module that reads the thresholds notes which; those that are only printed do not count."""
    rule, noted = verdict.thresholds(), set()

    def thresholds():
        printed = sys._getframe(1).f_code.co_name == "_store_thresholds"
        return rule if printed else Noted(rule, noted)

    original = verdict.thresholds
    for module in list(sys.modules.values()):
        if getattr(module, "thresholds", None) is original:
            monkeypatch.setattr(module, "thresholds", thresholds)
    monkeypatch.setattr(estimating, "_LEVEL", Noted(rule["beyond_chance"], noted, "beyond_chance"))
    choice_list.listed_choices.cache_clear()
    return noted


def some_without_papers():
    """As `twenty_with_unknown`, with the entries of every other mishap's dead from their kin."""
    for at, aboard in enumerate(twenty_with_unknown()):
        for one in aboard:
            if at % 4 == 0 and one["outcome"] == "died" and one["training_ever"] == "no":
                one["training_evidence"] = "next_of_kin"
        yield aboard


def test_every_threshold_in_the_file_is_read_where_something_is_decided(tmp_path, monkeypatch):
    noted = noting(monkeypatch)
    judged(write_study(tmp_path / "whole", some_without_papers()))
    judged(write_study(tmp_path / "few", six_mishaps()))
    gates.seen_gate(gates.SeenFigures(0.6, 0.9, "no", False))
    for many in (30, 14, 7):
        gates.enough_gate(gates.EnoughFigures(many, 30, 30, 30, 30, 9.0, 0.5))
    gates.comparable_gate(Overlap(0.7, 0.7, 0.7, 0.7, ()))
    gates.beyond_chance_gate(None, None, None, route=WithinRoute(6, 5, 1, 0.04, 0.2, 0.09))
    for held in ("partly_met", "not_met"):
        verdict.reading_of(dict.fromkeys(GATES, held) | {"seen": "met", "other_explanations": "partly_met"})
    verdict.reading_of(dict.fromkeys(GATES, "met"))
    doubts.choices_gate(ChoicesFigures(24, 20))
    listed = {
        (gate, key)
        for gate, keys in tomllib.loads(THRESHOLDS_FILE.read_text("utf-8")).items()
        for key in keys
    }
    assert listed - noted == set()
