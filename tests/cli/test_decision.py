"""Does the command line say what of the decision can be told, and which figures are missing for it?"""

from __future__ import annotations

import pytest

from survstats.cli.program import run_command
from survstats.records.demo import demo_folder


def told(capsys: pytest.CaptureFixture[str]) -> str:
    return " ".join(capsys.readouterr().out.split())


def test_check_names_the_figures_that_are_missing_and_calls_it_no_error(capsys):
    assert run_command(["check", str(demo_folder("demo_small"))]) == 0
    assert "Missing in the study file: cost of a refresher." in told(capsys)


def test_check_says_nothing_of_money_where_none_is_missing_or_none_is_asked(capsys):
    for name in ("demo_separation", "demo_survivor_only"):
        assert run_command(["check", str(demo_folder(name))]) == 0
        assert "Missing in the study file" not in told(capsys)


def test_brief_ends_with_the_decision_before_the_answer(few_mishaps_folder, tmp_path, capsys):
    assert run_command(["brief", str(few_mishaps_folder), "--out", str(tmp_path / "papers")]) == 0
    said = told(capsys)
    assert said.startswith("Should passengers be called back")
    assert said.index("Money: not given") < said.index("The word:")
