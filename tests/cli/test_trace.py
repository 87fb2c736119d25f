"""Does `survstats trace` follow a number back, and leave with the right code?"""

from __future__ import annotations

import pytest

from survstats.cli.program import run_command


@pytest.fixture
def folder(demo_results, tmp_path):
    (tmp_path / "results.json").write_text(demo_results["demo_main"].to_json(), encoding="utf-8")
    return tmp_path


def test_a_number_is_followed_to_its_rows(folder, capsys):
    assert run_command(["trace", "effect.rd", "--in", str(folder)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("effect.rd: 8 (-4 to 20) points")
    assert "occupant.csv" in out
    assert max(map(len, out.splitlines())) <= 80


def test_rows_all_lists_more(folder, capsys):
    run_command(["trace", "effect.rd", "--in", str(folder)])
    few = capsys.readouterr().out
    assert run_command(["trace", "effect.rd", "--in", str(folder), "--rows", "all"]) == 0
    assert len(capsys.readouterr().out.splitlines()) > len(few.splitlines()) + 100


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["effect.rdd"], "Did you mean 'effect.rd'"),
        (["effect.rd", "--rows", "some"], "Write all"),
    ],
)
def test_a_call_that_cannot_be_followed_leaves_with_2_and_one_sentence(folder, words, said, capsys):
    assert run_command(["trace", *words, "--in", str(folder)]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.out == ""


def test_a_folder_without_papers_leaves_with_2(tmp_path, capsys):
    assert run_command(["trace", "effect.rd", "--in", str(tmp_path)]) == 2
    assert "no results.json" in capsys.readouterr().err
