"""Is a wrong study file refused before anything runs, with the line, what is wrong and what to write?"""

from __future__ import annotations

import hashlib
import os
import re

import pytest

from survstats.effects.question import AFTER_TRAINING
from survstats.groundwork.errors import CallError, StudyFileError
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.records.population import EVERYBODY, PopulationFilter
from survstats.study.agreed import store_plan
from survstats.study.plan import read_study
from survstats.study.results_builder import ResultsBuilder

GOOD = """\
title = "A sea"
place = "somewhere"
invented = true

[question]
currency_months = 24
smallest_worthwhile_points = 5

[records]
mishap = "mishap.csv"

[model]
covariates = ["role", "light"]

[paper]
prepared_by = ""

[run]
seed = 3
"""


def read(folder, text):
    (folder / "study.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_study(folder)


def refused(folder, text):
    with pytest.raises(StudyFileError) as caught:
        read(folder, text)
    return caught.value


def test_the_good_file_is_read_with_its_defaults_and_hash(tmp_path):
    study = read(tmp_path, GOOD)
    assert study.plan.question.currency_months == 24
    assert study.plan.records.mishap == "mishap.csv"
    assert study.plan.records.occupant is None
    assert (study.cabins, study.accepted, study.population) == ({}, {}, EVERYBODY)
    assert study.plan.sharing.smallest_cell == 5
    assert (study.modifiers, study.plan.model.cold_water_c, study.plan.imputation.draws) == ((), None, 20)
    assert study.plan_hash == hashlib.sha256(GOOD.encode()).hexdigest()


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_the_demo_studies_are_in_order(name):
    assert read_study(demo_folder(name)).plan.invented


@pytest.mark.parametrize("text", ["\ufeff" + GOOD, GOOD.replace("\n", "\r\n"), GOOD.replace("24", "24.5")])
def test_a_byte_order_mark_other_line_ends_and_decimals_are_fine(tmp_path, text):
    read(tmp_path, text)


FAULTS = {
    # change to the file: (old, new, line, words the sentence must hold)
    "unknown key": ("seed = 3", "sede = 3", 19, ["run.sede", "not known", "'seed'"]),
    "unknown key at the top": ("place =", "plaice =", 2, ["plaice", "'place'"]),
    "unknown key near nothing": ("seed = 3", "zzz = 3", 19, ["run.zzz", "Known here: seed"]),
    "unknown section": ("[run]", "[ruin]", 18, ["'ruin'", "'run'"]),
    "wrong type, text for number": ("= 24", '= "24"', 6, ["question.currency_months", "'24'", "a number"]),
    "wrong type, number for text": ('"A sea"', "7", 1, ["title", "7", "text in"]),
    "wrong type, decimal seed": ("seed = 3", "seed = 3.5", 19, ["run.seed", "whole number"]),
    "wrong type, truth in quotes": ("= true", '= "true"', 3, ["invented", "without quotes"]),
    "wrong type, no list": ('["role", "light"]', '"role"', 13, ["model.covariates", "a list"]),
    "wrong type inside the list": ('"light"', "4", 13, ["model.covariates", "text in"]),
    "below the range": ("= 24", "= 0", 6, ["greater than 0"]),
    "above the range": ("= 24", "= 601", 6, ["at most 600"]),
    "not below 100": ("points = 5", "points = 100", 7, ["less than 100"]),
    "negative": ("points = 5", "points = -5", 7, ["greater than 0"]),
    "not a number": ("= 24", "= nan", 6, ["currency_months"]),
    "infinite": ("= 24", "= inf", 6, ["at most 600"]),
    "seed too large": ("seed = 3", "seed = 4294967296", 19, ["less than 4294967296"]),
    "empty title": ('"A sea"', '""', 1, ["title", "some text"]),
    "too long": ('"somewhere"', '"' + "x" * 121 + '"', 2, ["place", "at most 120 characters"]),
    "control character": ('"somewhere"', '"a\\u0007b"', 2, ["place", "control characters"]),
    "turned text": ('"somewhere"', '"a\\u202eb"', 2, ["place", "cannot be seen"]),
    "letter without width": ('"A sea"', '"A\\u200bsea"', 1, ["title", "cannot be seen"]),
    "separator of lines": ('"somewhere"', '"a\\u2028b"', 2, ["place", "one line"]),
    "upper control character": ('"somewhere"', '"a\\u0085b"', 2, ["place", "control characters"]),
    "name that cannot be seen": ('prepared_by = ""', 'prepared_by = "a\\u2066b"', 16, ["paper.prepared_by"]),
    "more than one line": ('"somewhere"', '"""a\nb"""', 2, ["place", "one line"]),
    "no covariates": ('["role", "light"]', "[]", 13, ["model.covariates", "at least one"]),
    "not TOML": ("seed = 3", "seed = ", 19, ["not TOML"]),
    "not TOML, quotes": ('"A sea"', '"A sea', 1, ["not TOML"]),
    "key twice": ("seed = 3", "seed = 3\nseed = 4", 20, ["not TOML"]),
    "in one line": ("[run]\nseed = 3", "[other]", 18, ["other"]),
    "unknown covariate": ('"light"', '"shoe_size"', 13, ["shoe_size", "no field", "role"]),
}


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_is_told_with_its_line(tmp_path, name):
    old, new, line, words = FAULTS[name]
    assert old in GOOD
    fault = refused(tmp_path, GOOD.replace(old, new, 1))
    assert fault.line == line
    told = str(fault)
    assert f"line {line}" in told
    for word in words:
        assert word in told
    assert "\n" not in told
    assert len(told) < 420


FULL = (
    GOOD.replace(
        '["role", "light"]',
        '["role", "light"]\nmodifiers = ["capsized", "far_seat", "cold_water", "role"]\ncold_water_c = 15',
    )
    + """\

[[records.accepted]]
rule = "R7"
reason = "heights were hindcast"

[[records.accepted]]
rule = "R36"
reason = "one witness timed them all"

[population]
first_year = 1990
last_year = 2020
classes = ["B"]
operators = ["N", "S"]
roles = ["passenger"]

[cabin.B]
rows = 4

[sharing]
smallest_cell = 7

[imputation]
draws = 40

[challenge]
fitness_floor = 0.6
sensitivity_inferred = 0.9
impact_death_margin_points = 4
"""
)


def test_everything_that_may_be_agreed_is_read(tmp_path):
    study = read(tmp_path, FULL)
    assert study.accepted == {"R7": "heights were hindcast", "R36": "one witness timed them all"}
    assert study.population == PopulationFilter(1990, 2020, ("B",), ("N", "S"), ("passenger",))
    assert study.cabins == {"B": 4}
    assert study.plan.sharing.smallest_cell == 7
    assert study.modifiers == ("capsized", "far_seat", "cold_water", "role")
    assert study.plan.model.cold_water_c == 15
    assert study.plan.imputation.draws == 40
    assert study.plan.challenge.model_dump() == {
        "fitness_floor": 0.6,
        "sensitivity_inferred": 0.9,
        "impact_death_margin_points": 4,
    }


def test_what_is_thought_possible_has_values_where_the_file_does_not_say(tmp_path):
    study = read(tmp_path, GOOD)
    assert study.plan.challenge.model_dump() == {
        "fitness_floor": 0.75,
        "sensitivity_inferred": 0.8,
        "impact_death_margin_points": 3,
    }
    said = (
        GOOD
        + """
[challenge]
fitness_floor = 0.75
"""
    )
    assert read(tmp_path, said).plan.challenge == study.plan.challenge
    assert read(tmp_path, said).analysis_hash == study.analysis_hash


@pytest.mark.parametrize(
    ("line", "softer"),
    [
        ("fitness_floor = 0.74", ("fitness_floor",)),
        ("fitness_floor = 0.1\nsensitivity_inferred = 0.8", ("fitness_floor",)),
        ("sensitivity_inferred = 0.81", ("sensitivity_inferred",)),
        ("impact_death_margin_points = 20", ("impact_death_margin_points",)),
        ("fitness_floor = 3\nsensitivity_inferred = 0.3\nimpact_death_margin_points = 0.1", ()),
        ("fitness_floor = 0.75\nsensitivity_inferred = 0.8\nimpact_death_margin_points = 3", ()),
    ],
)
def test_values_that_doubt_less_than_usual_are_named(tmp_path, line, softer):
    study = read(tmp_path, f"{GOOD}\n[challenge]\n{line}\n")
    assert study.plan.challenge.softer == softer
    out = ResultsBuilder()
    store_plan(out, study)
    assert out.lists["plan.challenge_softer"] == list(softer)


FULL_FAULTS = {
    "no such rule": ('"R7"', '"R77"', 24, ["R77", "'R7'"]),
    "rule that cannot be accepted": ('"R7"', '"R1"', 24, ["R1", "cannot be accepted"]),
    "single cells cannot be accepted": ('"R7"', '"F1"', 24, ["F1", "cannot be accepted"]),
    "statement": ('"R36"', '"R39"', 28, ["R39", "cannot be accepted"]),
    "rule twice": ('"R36"', '"R7"', 28, ["R7", "twice"]),
    "no reason": ('"heights were hindcast"', '""', 25, ["records.accepted.reason", "some text"]),
    "blank reason": ('"one witness timed them all"', '"  "', 29, ["records.accepted.reason", "some text"]),
    "reason missing": ('reason = "heights were hindcast"\n', "", 23, ["reason", "missing"]),
    "unknown key": ('rule = "R7"', 'rule = "R7"\nreasons = "x"', 25, ["reasons", "'reason'"]),
    "years crossed": ("last_year = 2020", "last_year = 1989", 33, ["1989", "1990"]),
    "year as text": ("= 1990", '= "1990"', 32, ["population.first_year", "whole number"]),
    "no classes": ('["B"]', "[]", 34, ["population.classes", "at least one"]),
    "empty class": ('["B"]', '[""]', 34, ["population.classes", "some text"]),
    "no such role": ('["passenger"]', '["cook"]', 36, ["population.roles", "'passenger'"]),
    "no rows": ("rows = 4", "rows = 0", 39, ["cabin.B.rows", "at least 1"]),
    "unknown key of a cabin": (
        "rows = 4",
        "rows = 4\nchairs = 4",
        40,
        ["cabin.B.chairs", "Known here: rows, seats"],
    ),
    "cell too small": ("= 7", "= 2", 42, ["sharing.smallest_cell", "at least 3"]),
    "cell too large": ("= 7", "= 51", 42, ["at most 50"]),
    "empty file name": ('"mishap.csv"', '""', 10, ["records.mishap", "some text"]),
    "five modifiers": ('"role"]\ncold', '"role", "light"]\ncold', 14, ["5 modifiers", "at most 4"]),
    "number as modifier": ('"far_seat", "cold', '"wind_kt", "cold', 14, ["'wind_kt' is a number"]),
    "modifier that training moves": ('"capsized"', '"exit_used"', 14, ["exit_used", "training"]),
    "no such modifier": ('"capsized"', '"capsised"', 14, ["capsised", "capsized"]),
    "modifier twice": ('"capsized"', '"role"', 14, ["'role' is listed twice"]),
    "cold without a limit": ("\ncold_water_c = 15", "", 14, ["cold_water_c = ...", "[model]"]),
    "limit as text": ("cold_water_c = 15", 'cold_water_c = "15"', 15, ["model.cold_water_c", "a number"]),
    "limit too high": ("cold_water_c = 15", "cold_water_c = 60", 15, ["at most 40"]),
    "too few draws": ("draws = 40", "draws = 19", 45, ["imputation.draws", "at least 20"]),
    "too many draws": ("draws = 40", "draws = 201", 45, ["imputation.draws", "at most 200"]),
    "floor of nothing": ("= 0.6", "= 0.0", 48, ["challenge.fitness_floor", "at least 0.1 and at most 3."]),
    "floor next to nothing": ("= 0.6", "= 1e-9", 48, ["challenge.fitness_floor' is 1e-09", "at least 0.1 "]),
    "floor too high": ("= 0.6", "= 3.1", 48, ["challenge.fitness_floor", "at most 3."]),
    "floor without end": ("= 0.6", "= inf", 48, ["a finite number of at least 0.1 and at most 3."]),
    "floor that is no number": ("= 0.6", "= nan", 48, ["a finite number of at least 0.1 and at most 3."]),
    "section twice": (
        "[challenge]",
        "[[challenge]]",
        47,
        ["'challenge' is a list of [[sections]]", "a [section]"],
    ),
    "floor as text": ("= 0.6", '= "0.6"', 48, ["challenge.fitness_floor", "a number"]),
    "nobody found": ("= 0.9", "= 0", 49, ["challenge.sensitivity_inferred", "at least 0.3"]),
    "next to nobody found": ("= 0.9", "= 1e-300", 49, ["challenge.sensitivity_inferred", "at least 0.3"]),
    "per cent": ("= 0.9", "= 90", 49, ["challenge.sensitivity_inferred", "at most 1: ", "0.9 for 90 %"]),
    "more than all found": ("= 0.9", "= 900", 49, ["challenge.sensitivity_inferred", "at most 1."]),
    "no margin": ("points = 4", "points = 0", 50, ["challenge.impact_death_margin_points", "greater than 0"]),
    "margin of nearly everything": (
        "points = 4",
        "points = 21",
        50,
        ["challenge.impact_death_margin_points", "greater than 0 and at most 20."],
    ),
    "unknown key of the challenge": (
        "fitness_floor",
        "fitnes_floor",
        48,
        ["challenge.fitnes_floor", "'fitness_floor'"],
    ),
    "unknown key of imputation": ("draws = 40", "drawz = 40", 45, ["imputation.drawz", "'draws'"]),
}


@pytest.mark.parametrize("name", FULL_FAULTS)
def test_each_fault_of_what_may_be_agreed_is_told_with_its_line(tmp_path, name):
    old, new, line, words = FULL_FAULTS[name]
    assert old in FULL
    fault = refused(tmp_path, FULL.replace(old, new, 1))
    told = str(fault)
    assert fault.line == line, told
    for word in words:
        assert word in told
    assert "\n" not in told


CHANGES_NUMBERS = {
    "currency": ("= 24", "= 36"),
    "worthwhile": ("points = 5", "points = 4"),
    "covariates": ('["role", "light"]', '["role"]'),
    "accepted": ('"R36"', '"R37"'),
    "year": ("1990", "1991"),
    "operators": ('["N", "S"]', '["N"]'),
    "cabin": ("rows = 4", "rows = 5"),
    "modifiers": ('"capsized", ', ""),
    "cold water": ("cold_water_c = 15", "cold_water_c = 12"),
    "draws": ("draws = 40", "draws = 41"),
    "seed": ("seed = 3", "seed = 4"),
    "floor": ("fitness_floor = 0.6", "fitness_floor = 0.5"),
    "sensitivity": ("sensitivity_inferred = 0.9", "sensitivity_inferred = 0.8"),
    "margin": ("margin_points = 4", "margin_points = 3"),
    "breath": ("[run]", "[breath]\nmultiplier = 0.5\n[run]"),
}
CHANGES_NONE = {
    "breath as in the pool": ("[run]", "[breath]\nmultiplier = 1.0\n[run]"),
    "title": ('"A sea"', '"Another sea"'),
    "name": ('prepared_by = ""', 'prepared_by = "somebody"'),
    "reason": ("heights were hindcast", "heights were guessed"),
    "order": ('["role", "light"]', '["light", "role"]'),
    "order of modifiers": ('"capsized", "far_seat"', '"far_seat", "capsized"'),
    "repeated": ('["N", "S"]', '["S", "N", "S"]'),
    "comment": ("[run]", "# a word\n[run]"),
    "decimals": ("= 24", "= 24.0"),
    "smallest cell": ("= 7", "= 8"),
}


def test_the_hash_of_the_analysis_covers_what_changes_numbers_and_nothing_else(tmp_path):
    first = read(tmp_path, FULL)
    hashes = {first.analysis_hash}
    for old, new in CHANGES_NUMBERS.values():
        hashes.add(read(tmp_path, FULL.replace(old, new, 1)).analysis_hash)
    assert len(hashes) == 1 + len(CHANGES_NUMBERS)
    for name, (old, new) in CHANGES_NONE.items():
        assert old in FULL
        other = read(tmp_path, FULL.replace(old, new, 1))
        assert other.analysis_hash == first.analysis_hash, name
        assert other.plan_hash != first.plan_hash, name


def test_the_hash_of_the_analysis_covers_the_mapping_but_not_who_checked_it(tmp_path):
    def hashed(mapping):
        (tmp_path / "mapping.toml").write_text(mapping)
        return read(tmp_path, FULL).analysis_hash

    without = read(tmp_path, FULL).analysis_hash
    first = hashed('checked_by = "A"\n[mishap]\nfile = "theirs.csv"\n')
    assert hashed('checked_by = "B"\n\n# a word\n[mishap]\nfile = "theirs.csv"\n') == first != without
    assert hashed('checked_by = "B"\n[mishap]\nfile = "others.csv"\n') != first


def test_a_study_that_has_no_model_yet_can_be_read(tmp_path):
    study = read(tmp_path, GOOD.replace('[model]\ncovariates = ["role", "light"]\n', ""))
    assert study.covariates == ()
    assert study.analysis_hash != read(tmp_path, GOOD).analysis_hash
    refused(tmp_path, GOOD.replace('covariates = ["role", "light"]\n', ""))


def _link(path):
    path.symlink_to(path.parent / "nowhere")


def _device(path):
    path.symlink_to("/dev/zero")


@pytest.mark.parametrize("name", ["study.toml", "mapping.toml"])
@pytest.mark.parametrize(
    ("make", "word"),
    [
        (lambda path: path.mkdir(), "a folder"),
        (os.mkfifo, "a pipe"),
        (_link, "a link to a file that is not there"),
        (_device, "a device"),
    ],
)
def test_what_is_no_file_is_refused_in_one_sentence_and_never_waited_for(tmp_path, name, make, word):
    (tmp_path / "study.toml").write_text(GOOD)
    (tmp_path / name).unlink(missing_ok=True)
    make(tmp_path / name)
    with pytest.raises(StudyFileError) as caught:
        read_study(tmp_path)
    assert name in str(caught.value)
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("old", "key"),
    [
        ('title = "A sea"\n', "title"),
        ("currency_months = 24\n", "question.currency_months"),
        ("smallest_worthwhile_points = 5\n", "question.smallest_worthwhile_points"),
        ('covariates = ["role", "light"]\n', "model.covariates"),
    ],
)
def test_a_missing_key_is_named(tmp_path, old, key):
    told = str(refused(tmp_path, GOOD.replace(old, "")))
    assert f"'{key}' is missing" in told


@pytest.mark.parametrize("name", sorted(AFTER_TRAINING))
def test_a_forbidden_covariate_is_refused_with_its_reason_and_line(tmp_path, name):
    fault = refused(tmp_path, GOOD.replace('"light"', f'"{name}"'))
    assert (fault.reason, fault.line) == ("forbidden_covariate", 13)
    assert AFTER_TRAINING[name] in str(fault)
    assert "line 13" in str(fault)


@pytest.mark.parametrize(
    "text",
    [
        "question = {currency_months = -4, smallest_worthwhile_points = 5}\n",
        "question.currency_months = -4\nquestion.smallest_worthwhile_points = 5\n",
        '["question"]\ncurrency_months = -4\nsmallest_worthwhile_points = 5\n',
    ],
)
def test_other_ways_to_write_a_table_never_give_a_wrong_line(tmp_path, text):
    text = f'title = "x"\nmodel.covariates = ["role"]\n{text}'
    fault = refused(tmp_path, text)
    lines = text.splitlines()
    assert fault.line is None or "question" in lines[fault.line - 1] or "currency" in lines[fault.line - 1]
    assert "line 0" not in str(fault)
    assert "currency_months" in str(fault)


def test_several_faults_are_counted_and_the_first_is_told(tmp_path):
    text = GOOD.replace("= 24", "= 0").replace("seed = 3", "seed = -1")
    told = str(refused(tmp_path, text))
    assert "line 6" in told
    assert "1 more" in told


def test_a_question_given_as_a_value(tmp_path):
    text = re.sub(r"\[question\](.|\n)*?\n\n", "", GOOD).replace(
        "invented = true", "invented = true\nquestion = 3"
    )
    fault = refused(tmp_path, text)
    assert fault.line == 4
    assert "[section]" in str(fault)


@pytest.mark.parametrize(
    "raw",
    [
        GOOD.encode("utf-16"),
        GOOD.replace("somewhere", "Noordzee, 54°").encode("latin-1"),
        b"\x00\x01\x02",
        b"\x89PNG\r\n\x1a\n\x00",
        b"",
        b"   \n",
        b"title = " + b"[" * 5000 + b"]" * 5000,
        b"title = " + b"9" * 5000,
        GOOD.replace("somewhere", "x" * 200_000).encode(),
        GOOD.replace("= 24", "= " + "[" * 40 + "]" * 40).encode(),
        GOOD.replace("seed = 3", "seed = 1979-05-27").encode(),
    ],
)
def test_anything_else_is_refused_in_one_sentence(tmp_path, raw):
    told = str(refused(tmp_path, raw))
    assert told.startswith("study.toml")
    assert "\n" not in told
    assert len(told) < 420


def test_no_folder_and_no_file(tmp_path):
    for folder in (tmp_path / "nowhere", tmp_path):
        with pytest.raises(CallError) as caught:
            read_study(folder)
        assert caught.value.reason == "no_study"


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    read(tmp_path, GOOD)

    def locked(path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", locked)
    with pytest.raises(StudyFileError) as caught:
        read_study(tmp_path)
    assert (caught.value.reason, caught.value.exit_code) == ("not_readable", 2)
    assert "study.toml" in str(caught.value)
