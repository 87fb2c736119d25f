"""Which commands are there, and what does each call?"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from survstats import __version__
from survstats.cli.telling import print_text, progress, say, words_of
from survstats.groundwork.errors import CallError

DEFAULT_OUT = Path("survstats-brief")
DEFAULT_DEMO = "demo_main"

app = typer.Typer(
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="What difference underwater-escape training makes in helicopter mishaps, and what the records cannot show.",
)


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Print the version and stop.")] = False,
) -> None:
    if version:
        print_text(__version__)
        raise typer.Exit


@app.command()
def brief(
    study: Annotated[str, typer.Argument(help="A study folder; without one, the invented demo.")] = "",
    out: Annotated[Path, typer.Option(help="The folder to write the papers to.")] = DEFAULT_OUT,
) -> None:
    """Carry out the agreed analysis of a study and write its papers."""
    tell = progress()
    tell("reading")
    from survstats.records.demo import demo_folder
    from survstats.report.papers import publish
    from survstats.study.plan import read_study
    from survstats.study.run import run

    results = run(read_study(study or demo_folder(DEFAULT_DEMO)), progress=tell)
    tell("writing")
    publish(results, out)
    tell("")
    from survstats.report.content import plain
    from survstats.report.wording import Wording, facts_of

    words = Wording(facts_of(results, brief_out=str(out)))
    for key in (f"answer.{results.codes['brief.form']}", _word_key(results.codes), "brief_done.written"):
        print_text(plain(words.say(key)))


@app.command()
def check(
    study: Annotated[str, typer.Argument(help="A study folder.")],
    out: Annotated[Path | None, typer.Option(help="Write the findings to this CSV file as well.")] = None,
) -> None:
    """List every finding in the records of a study at once."""
    print_text(f"Checking {study}")
    import datetime

    from survstats.records.checking import check_records
    from survstats.records.finding import Finding, sentence
    from survstats.study.plan import read_study
    from survstats.study.steps import read_records

    if out is not None and out.suffix.lower() != ".csv":
        raise CallError("bad_out", f"--out '{out}' is no CSV file.", "Give a name that ends in .csv.")
    records = read_records(read_study(study))
    findings = check_records(records, today=datetime.date.today())  # errors first
    for finding in findings:
        print_text(f"{finding.severity} {finding.rule}: {sentence(finding)}")
    counts = {
        "check.mishaps": len(records.mishap),
        "check.occupants": len(records.occupant),
        "check.errors": sum(finding.severity == "error" for finding in findings),
        "check.warnings": sum(finding.severity == "warning" for finding in findings),
        "check.statements": sum(finding.severity == "statement" for finding in findings),
    }
    words = words_of(counts, {"check.out": str(out)})
    say(words, "check.summary")
    if out is not None:
        import dataclasses

        from survstats.report.papers import csv_text, write_file

        columns = [field.name for field in dataclasses.fields(Finding)]
        write_file(out, csv_text(columns, [dataclasses.astuple(finding) for finding in findings]))
        say(words, "check.written")
    if counts["check.errors"]:
        raise typer.Exit(1)


@app.command()
def claim(
    aboard: Annotated[str, typer.Option(help="How many people were aboard.")],
    died: Annotated[str, typer.Option(help="How many of them died.")],
    trained_of_survivors: Annotated[
        str, typer.Option(help="Share of survivors trained: .8, 80 % or 75%-85%.")
    ],
    trained_aboard: Annotated[str, typer.Option(help="Share trained of everyone aboard, if known.")] = "",
    trained_of_dead: Annotated[str, typer.Option(help="Share trained of the dead, if known.")] = "",
) -> None:
    """Say what a survivor headline can and cannot carry."""
    from survstats.report.wording import Facts, Wording
    from survstats.study.headline import read_share, weigh_headline

    found = weigh_headline(
        _whole_number(aboard, "--aboard"),
        _whole_number(died, "--died"),
        read_share(trained_of_survivors, "--trained-of-survivors"),
        trained_aboard=read_share(trained_aboard, "--trained-aboard") if trained_aboard else None,
        trained_of_dead=read_share(trained_of_dead, "--trained-of-dead") if trained_of_dead else None,
    )
    words = Wording(Facts(found.numbers))
    for key in (*found.sentences, "caution"):
        say(words, f"claim.{key}")


@app.command()
def demo(
    name: Annotated[str, typer.Argument(help="demo_small, demo_main, demo_null or demo_survivor_only.")],
    directory: Annotated[Path, typer.Argument(help="A folder that does not exist yet.")],
) -> None:
    """Write an invented study to start from."""
    from survstats.records.demo import copy_demo

    copy_demo(name, directory)
    print_text(f"Wrote the invented study {name} to {directory}: try 'survstats brief {directory}'.")


def _word_key(codes: Mapping[str, str]) -> str:
    return f"word.{codes['verdict.word']}" if codes["verdict.reason"] == "gates" else "word.not_all_checked"


def _whole_number(typed: str, name: str) -> int:
    if not (typed.strip().isdecimal() and len(typed) < 10):
        raise CallError(
            "bad_count", f"{name} '{typed[:20]}' is no whole number of people.", "Write a count such as 12."
        )
    return int(typed)
