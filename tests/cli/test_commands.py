"""Do the commands do what they say, with their exit codes, as somebody at a terminal meets them?"""

from __future__ import annotations

import json
import os
import re
import shlex
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from survstats.cli.program import run_command
from survstats.records.demo import demo_folder

PROGRAM = [sys.executable, "-W", "error", "-c", "from survstats.cli.program import main; main()"]
CHECKOUT = Path(__file__).parents[2]
HUNDRED = ["claim", "--aboard", "100", "--died", "40", "--trained-of-survivors", "80%"]


def call(*words, cwd, **settings):
    done = subprocess.run(
        [*PROGRAM, *map(str, words)], cwd=cwd, capture_output=True, text=True, timeout=120, **settings
    )
    assert "Traceback" not in done.stderr
    return done


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_brief_without_words_makes_the_papers_of_the_demo(tmp_path):
    done = call("brief", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    out = tmp_path / "survstats-brief"
    assert {path.name for path in out.iterdir()} == {
        "annex.html",
        "annex.pdf",
        "brief.html",
        "brief.pdf",
        "budget.html",
        "budget.pdf",
        "worksheet.html",
        "records.html",
        "records.pdf",
        "results.json",
        "manifest.json",
        "tables",
        "figures",
    }
    assert sorted(path.name for path in tmp_path.iterdir()) == ["survstats-brief"]
    assert "survstats-brief" in done.stdout
    assert done.stderr.splitlines()[0] == "Reading the records"
    results = json.loads((out / "results.json").read_text(encoding="utf-8"))
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    assert results["schema_version"] == manifest["schema_version"] == 3
    assert (manifest["made_by"], manifest["invented"]) == ("survstats", "yes")
    assert {"study_file", "mishap_file", "occupant_file", "verdict_thresholds", "seed", "made_at"} <= set(
        manifest
    )
    for figure in (out / "figures").glob("*.svg"):
        assert figure.with_suffix(".csv").is_file()


def test_demo_then_check_then_brief_into_the_same_folder_twice(tmp_path, capsys):
    study, out = tmp_path / "mine", tmp_path / "papers"
    assert run_command(["demo", "demo_survivor_only", str(study)]) == 0
    assert run_command(["check", str(study), "--out", str(tmp_path / "findings.csv")]) == 0
    told = one_line(capsys.readouterr().out)
    assert re.search(r"0 errors, \d+ warnings?, \d+ statements?", told)
    assert (tmp_path / "findings.csv").read_text(encoding="utf-8").startswith("rule,severity,file,row,field")
    for _ in range(2):
        assert run_command(["brief", str(study), "--out", str(out)]) == 0
    assert "Nobody can say" in one_line(capsys.readouterr().out)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["findings.csv", "mine", "papers"]


def test_check_lists_every_finding_and_leaves_with_1(study_folder, capsys):
    table = study_folder / "occupant.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    spoilt = [line.replace(",passenger,", ",pasenger,") for line in lines]
    table.write_text("\n".join(spoilt) + "\n", encoding="utf-8")
    wrong = sum(line != other for line, other in zip(lines, spoilt, strict=True))
    assert run_command(["check", str(study_folder)]) == 1
    told = capsys.readouterr().out
    assert wrong > 50
    assert f"and {wrong - 4} more" in one_line(told)
    assert told.count("pasenger") == 1
    assert f"{wrong} errors" in told
    assert "did you mean passenger?" in one_line(told)


# ---- calls that cannot be followed --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["brief", "nowhere"], "nowhere"),
        (["brief", "--nope"], "--nope"),
        (["brief", "x" * 300], "xxx"),
        (["check"], "study"),
        (["check", "nowhere"], "nowhere"),
        (["check", ".", "--out", "findings.txt"], "findings.txt"),
        (["frobnicate"], "frobnicate"),
        (["demo", "demo_big", "new"], "demo_big"),
        (["demo", "demo_small", "."], "."),
        (["claim"], "--aboard"),
        (["claim", "--aboard", "10"], "--died"),
        (["claim", "--aboard", "ten", "--died", "4", "--trained-of-survivors", ".5"], "ten"),
        (["claim", "--aboard", "10.5", "--died", "4", "--trained-of-survivors", ".5"], "10.5"),
        (["claim", "--aboard", "-10", "--died", "4", "--trained-of-survivors", ".5"], "-10"),
        (["claim", "--aboard", "10", "--died", "10", "--trained-of-survivors", ".5"], "10"),
        (["claim", "--aboard", "10", "--died", "0", "--trained-of-survivors", ".5"], "0"),
        (["claim", "--aboard", "10", "--died", "4", "--trained-of-survivors", "80"], "80"),
        (["claim", "--aboard", "10", "--died", "4", "--trained-of-survivors", "101%"], "101%"),
        (["claim", "--aboard", "10", "--died", "4", "--trained-of-survivors", "-5%"], "-5%"),
        (["claim", "--aboard", "10", "--died", "4", "--trained-of-survivors", "85%-75%"], "85%-75%"),
        (["claim", "--aboard", "10", "--died", "4", "--trained-of-survivors", "most"], "most"),
        (["claim", "--aboard", "10", "--died", "4", "--trained-of-survivors", ""], "--trained-of-survivors"),
        (["claim", "--aboard", "9" * 5000, "--died", "4", "--trained-of-survivors", ".5"], "--aboard"),
        (["claim", "--aboard", "1" + "0" * 400, "--died", "4", "--trained-of-survivors", ".5"], "--aboard"),
        (
            [
                "claim",
                "--aboard",
                "10",
                "--died",
                "4",
                "--trained-of-survivors",
                ".5",
                "--trained-aboard",
                ".5",
                "--trained-of-dead",
                ".5",
            ],
            "--trained-aboard",
        ),
        (
            [
                "claim",
                "--aboard",
                "100",
                "--died",
                "40",
                "--trained-of-survivors",
                ".8",
                "--trained-aboard",
                "95%",
            ],
            "48.0 % and 88.0 %",
        ),
    ],
)
def test_a_call_that_cannot_be_followed_leaves_with_2_and_one_sentence(
    tmp_path, monkeypatch, capsys, words, named
):
    monkeypatch.chdir(tmp_path)
    assert run_command(words) == 2
    told = capsys.readouterr().err.removeprefix("Reading the records\n")
    assert told.count("\n") == 1
    assert told.startswith("survstats: ")
    assert named in told
    assert len(told) < 600
    assert list(tmp_path.iterdir()) == []


def test_no_words_at_all_show_the_help(capsys):
    assert run_command([]) == 0
    told = capsys.readouterr()
    assert "Commands:" in told.out
    assert told.out.count("\n") > 10
    assert told.err == ""


@pytest.mark.parametrize("words", [["--help"], ["brief", "--help"], ["claim", "--help"], ["--version"]])
def test_help_and_version_are_no_fault(words, capsys):
    assert run_command(words) == 0
    assert capsys.readouterr().err == ""


# ---- claim ----------------------------------------------------------------------------------------------------------


def test_claim_golden_with_the_dead(capsys):
    assert (
        run_command(
            [
                "claim",
                "--aboard",
                "100",
                "--died",
                "40",
                "--trained-of-survivors",
                "80%",
                "--trained-of-dead",
                "50%",
            ]
        )
        == 0
    )
    told = one_line(capsys.readouterr().out)
    assert "+33.1 points (survival 1.9 times, odds 4.0 times" in told
    assert "-45.5 to +76.9" in told


def test_claim_golden_with_the_share_aboard(capsys):
    assert (
        run_command(
            [
                "claim",
                "--aboard",
                "100",
                "--died",
                "40",
                "--trained-of-survivors",
                ".8",
                "--trained-aboard",
                ".7",
            ]
        )
        == 0
    )
    told = one_line(capsys.readouterr().out)
    assert "55 % of the dead" in told
    assert "+28.6 points" in told
    assert "by 2.5 points" in told


@pytest.mark.parametrize("share", ["0", "0%", "1", "100 %", "75%-85%", "0-1", "0,5", "62.5%", ".3333"])
@pytest.mark.parametrize("more", [[], ["--trained-of-dead", "40%"], ["--trained-of-dead", "0-1"]])
def test_claim_takes_every_way_to_write_a_share(share, more, capsys):
    words = ["claim", "--aboard", "30", "--died", "11", "--trained-of-survivors", share, *more]
    assert run_command(words) in (0, 2)
    told = capsys.readouterr()
    assert "nan" not in told.out
    assert "inf " not in told.out


def test_a_round_headline_of_the_trade(capsys):
    """Common practice, no source: the figures stand here and nowhere else in the repository."""
    words = ["claim", "--aboard", "130", "--died", "44", "--trained-of-survivors", "80%"]
    assert run_command(words) == 0
    told = one_line(capsys.readouterr().out)
    assert "any difference from -39.0 to +71.9 points" in told
    assert re.search(r"rounded to a whole per cent, from -39\.2 to \+72\.4 points", told)
    assert re.search(r"No whole number of 86 is exactly 80 %: 69 is nearest", told)
    assert re.search(r"no (effect|difference) if 80 % of the dead had been trained too", told)
    assert "One number would settle the arithmetic: how many of the 44 dead had been trained" in told
    figures = re.compile(r"(?s)\b130\b.{0,80}\b44\b.{0,80}\b80 ?%|aboard[ =]130|130 aboard")
    texts = [
        path
        for path in CHECKOUT.rglob("*")
        if path.suffix in (".py", ".md", ".toml", ".ipynb", ".html", ".jinja", ".typ", ".yml", ".txt")
        and not any(part.startswith(".") for part in path.relative_to(CHECKOUT).parts)
        and path != Path(__file__)
    ]
    assert len(texts) > 50
    assert [
        str(path) for path in texts if figures.search(path.read_text(encoding="utf-8", errors="replace"))
    ] == []


# ---- faults and interruptions ---------------------------------------------------------------------------------------


def test_a_fault_of_the_program_leaves_with_70_and_says_so(tmp_path, monkeypatch, capsys):
    def broken(*_words, **_more):
        raise RuntimeError("some\ninner trouble")

    monkeypatch.setattr("survstats.study.run.run", broken)
    assert run_command(["brief", "--out", str(tmp_path / "out")]) == 70
    told = capsys.readouterr().err.splitlines()[-1]
    assert told.startswith("survstats: This is a fault of survstats (RuntimeError: some inner trouble)")
    assert list(tmp_path.iterdir()) == []


def test_not_estimable_that_escapes_is_a_fault_of_the_program(tmp_path, monkeypatch, capsys):
    from survstats.groundwork.errors import NotEstimable

    def broken(*_words, **_more):
        raise NotEstimable("one_arm", "Nobody to compare.")

    monkeypatch.setattr("survstats.study.run.run", broken)
    assert run_command(["brief", "--out", str(tmp_path / "out")]) == 70
    assert "fault of survstats" in capsys.readouterr().err


def test_an_interruption_leaves_with_130_and_no_half_report(tmp_path):
    running = subprocess.Popen(
        [*PROGRAM, "brief"],
        cwd=tmp_path,
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        # a shell that runs the tests in the background ignores the signal, and a child would inherit that
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    while not running.stderr.readline().startswith("Estimating"):
        assert running.poll() is None
    running.send_signal(signal.SIGINT)
    err = running.stderr.read()
    running.wait(timeout=60)
    running.stdout.close()
    running.stderr.close()
    assert running.returncode == 130, err
    assert err.splitlines()[-1] == "survstats: Interrupted."
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []


def in_a_shell(rest, *words, cwd):
    """One command with what a shell does to its streams; the code is that of survstats."""
    script = f"{shlex.join([*PROGRAM, *map(str, words)])} {rest}; exit ${{PIPESTATUS[0]}}"
    return subprocess.run(["bash", "-c", script], cwd=cwd, capture_output=True, text=True, timeout=120)


@pytest.mark.parametrize("code", [0, 1])
def test_a_reader_that_stops_listening_changes_nothing(tmp_path, study_folder, code):
    if code:
        table = study_folder / "occupant.csv"
        table.write_text(
            table.read_text(encoding="utf-8").replace(",passenger,", ",pasenger,"), encoding="utf-8"
        )
    done = in_a_shell("| head -n 1", "check", study_folder, "--out", "findings.csv", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (code, "")
    assert (tmp_path / "findings.csv").is_file()
    assert in_a_shell("| true", *HUNDRED, cwd=tmp_path).returncode == 0


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a file that is always full")
@pytest.mark.parametrize("rest", [">/dev/full", ">&-"])
def test_an_answer_that_cannot_be_written_leaves_with_3(tmp_path, rest):
    done = in_a_shell(rest, *HUNDRED, cwd=tmp_path)
    assert done.returncode == 3
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("survstats: The standard output could not be written")
    assert in_a_shell(">/dev/full", "--help", cwd=tmp_path).returncode == 3
    assert in_a_shell(f"{rest} 2>&-", *HUNDRED, cwd=tmp_path).returncode == 3


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a file that is always full")
@pytest.mark.parametrize("rest", ["2>&-", pytest.param("2>/dev/full", marks=pytest.mark.slow)])
def test_nobody_to_tell_of_the_progress_stops_no_work(tmp_path, rest):
    done = in_a_shell(rest, "brief", demo_folder("demo_survivor_only"), cwd=tmp_path)
    assert done.returncode == 0
    assert "Nobody can say" in one_line(done.stdout)
    assert (tmp_path / "survstats-brief" / "brief.pdf").is_file()


def test_findings_into_a_name_in_capitals(tmp_path, study_folder):
    assert run_command(["check", str(study_folder), "--out", str(tmp_path / "F.CSV")]) == 0
    assert (tmp_path / "F.CSV").is_file()


def test_a_demo_whose_name_is_too_long(tmp_path, capsys):
    assert run_command(["demo", "demo_small", str(tmp_path / ("x" * 300))]) == 3
    assert "cannot be written" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-8"])
def test_a_terminal_that_cannot_show_a_letter_is_no_fault(study_folder, encoding):
    table = study_folder / "occupant.csv"
    text = table.read_text(encoding="utf-8").replace(",survived,", ",sürvived\U0001f681,", 1)
    table.write_text(text, encoding="utf-8")
    done = subprocess.run(
        [*PROGRAM, "check", str(study_folder)],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": encoding},
        timeout=60,
    )
    assert done.returncode == 1, done.stderr
    assert b"Traceback" not in done.stderr
