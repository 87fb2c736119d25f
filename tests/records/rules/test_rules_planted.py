"""Every rule fires exactly where it was planted, and nowhere else."""

import csv
import datetime
import filecmp
from collections import defaultdict
from functools import cache
from pathlib import Path

import openpyxl
import pytest

from survstats.records.checking import RULES, check_records
from survstats.records.demo import DIRTY_NAME, demo_folder
from survstats.records.invented.dirty import write_dirty
from survstats.records.rules.rulebook import RULEBOOK
from survstats.study import steps
from survstats.study.plan import read_study

TODAY = datetime.date(2026, 11, 25)
FOLDER = demo_folder(DIRTY_NAME)
FIELD_RULES = {"R6", "R8", "R10", "T2"}  # found by the schema that is made from the codebook


def planted():
    places = defaultdict(set)
    with (FOLDER / "planted.csv").open(encoding="utf-8", newline="") as file:
        for line in csv.DictReader(file):
            assert line["study"] == f"{line['rule']}/fails"
            row = int(line["row"]) if line["row"] else None
            places[line["rule"]].add((line["file"], row, line["field"]))
    return dict(places)


PLANTED = planted()


@cache
def findings(rule, twin):
    study = read_study(FOLDER / rule / twin)
    records = steps.read_records(study)
    return check_records(records, today=TODAY, cabins=study.cabins, accepted=study.accepted)


def places(found, *severities):
    return sorted((f.rule, f.file, f.row or 0, f.field) for f in found if f.severity in severities)


@pytest.mark.parametrize("rule", PLANTED)
def test_a_rule_fires_where_it_was_planted_and_nowhere_else(rule):
    found = findings(rule, "fails")
    if RULEBOOK[rule].severity == "statement":
        assert places(found, "error", "warning") == []
        said = {(f.file, f.row, f.field) for f in found if f.rule == rule}
        assert said >= PLANTED[rule]
    else:
        expected = sorted((rule, file, row or 0, field) for file, row, field in PLANTED[rule])
        assert places(found, "error", "warning") == expected
        assert all(f.remedy and f.expected for f in found if f.rule == rule)


@pytest.mark.parametrize("rule", PLANTED)
def test_its_twin_passes(rule):
    found = findings(rule, "passes")
    assert places(found, "error", "warning", "accepted") == []
    same = {(f.file, f.row, f.field, f.seen) for f in findings(rule, "fails") if f.rule == rule}
    here = {(f.file, f.row, f.field, f.seen) for f in found if f.rule == rule}
    assert not {f for f in same & here if f[:3] in PLANTED[rule]}


@pytest.mark.parametrize("rule", PLANTED)
def test_statements_are_always_made(rule):
    for twin in ("fails", "passes"):
        assert {"R39", "R44", "R45"} <= {f.rule for f in findings(rule, twin) if f.severity == "statement"}


def test_the_rulebook_the_rules_and_what_was_planted_name_the_same_rules():
    assert set(PLANTED) == set(RULEBOOK)
    consistency = {id_ for id_ in RULEBOOK if id_[0] in "RT"}
    assert {rule.id for rule in RULES} | FIELD_RULES == consistency
    assert {path.name for path in FOLDER.iterdir() if path.is_dir()} == set(RULEBOOK)


@pytest.mark.parametrize("rule", ["R7", "R20", "T4"])
def test_an_accepted_rule_stands_with_its_reason(rule):
    study = read_study(FOLDER / rule / "fails")
    records = steps.read_records(study)
    found = check_records(records, today=TODAY, accepted={rule: "as the operator says"})
    assert places(found, "error", "warning") == []
    (standing,) = [f for f in found if f.severity == "accepted"]
    assert (standing.rule, standing.remedy) == (rule, "as the operator says")


def test_the_studies_are_made_again_byte_for_byte(tmp_path: Path):
    write_dirty(tmp_path)
    kept = sorted(p.relative_to(FOLDER) for p in FOLDER.rglob("*") if p.is_file())
    assert kept == sorted(p.relative_to(tmp_path) for p in tmp_path.rglob("*") if p.is_file())
    for name in kept:
        if name.suffix == ".xlsx":  # its XML may change with the library that writes it
            for sheet in openpyxl.load_workbook(FOLDER / name).worksheets:
                again = openpyxl.load_workbook(tmp_path / name)[sheet.title]
                assert list(sheet.values) == list(again.values)
        else:
            assert filecmp.cmp(FOLDER / name, tmp_path / name, shallow=False), name
