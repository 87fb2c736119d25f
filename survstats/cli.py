"""The command line: each command is one call of the package, told in one clear sentence where it fails."""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from survstats import __version__
from survstats.groundwork.errors import CallError, PublishError, SurvstatsError

if TYPE_CHECKING:
    from survstats.report.wording import Wording

DEFAULT_OUT = Path("survstats-brief")
DEFAULT_DEMO = "demo_main"
FAULT, INTERRUPTED = 70, 130
OUT, ERR = 1, 2

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
        _print(__version__)
        raise typer.Exit


@app.command()
def brief(
    study: Annotated[str, typer.Argument(help="A study folder; without one, the invented demo.")] = "",
    out: Annotated[Path, typer.Option(help="The folder to write the papers to.")] = DEFAULT_OUT,
) -> None:
    """Carry out the agreed analysis of a study and write its papers."""
    tell = _progress()
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
        _print(plain(words.say(key)))


@app.command()
def check(
    study: Annotated[str, typer.Argument(help="A study folder.")],
    out: Annotated[Path | None, typer.Option(help="Write the findings to this CSV file as well.")] = None,
) -> None:
    """List every finding in the records of a study at once."""
    _print(f"Checking {study}")
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
        _print(f"{finding.severity} {finding.rule}: {sentence(finding)}")
    counts = {
        "check.mishaps": len(records.mishap),
        "check.occupants": len(records.occupant),
        "check.errors": sum(finding.severity == "error" for finding in findings),
        "check.warnings": sum(finding.severity == "warning" for finding in findings),
        "check.statements": sum(finding.severity == "statement" for finding in findings),
    }
    words = _words(counts, {"check.out": str(out)})
    _say(words, "check.summary")
    if out is not None:
        import dataclasses

        from survstats.report.papers import csv_text, write_file

        columns = [field.name for field in dataclasses.fields(Finding)]
        write_file(out, csv_text(columns, [dataclasses.astuple(finding) for finding in findings]))
        _say(words, "check.written")
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
        _say(words, f"claim.{key}")


@app.command()
def demo(
    name: Annotated[str, typer.Argument(help="demo_small, demo_main, demo_null or demo_survivor_only.")],
    directory: Annotated[Path, typer.Argument(help="A folder that does not exist yet.")],
) -> None:
    """Write an invented study to start from."""
    from survstats.records.demo import copy_demo

    copy_demo(name, directory)
    _print(f"Wrote the invented study {name} to {directory}: try 'survstats brief {directory}'.")


def main() -> None:
    """Run the command line and leave with its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal that lacks a letter shows a question mark
    sys.exit(run_command(sys.argv[1:]))


def run_command(words: list[str]) -> int:
    """Run one command and return its exit code; without any words, show the help.

    0 done; 1 the records; 2 the call or the study file; 3 could not write; 70 a fault of survstats; 130 interrupted.
    Where nobody reads on, the code is that of the work.
    """
    try:
        code = app(args=words or ["--help"], prog_name="survstats", standalone_mode=False)
    except SurvstatsError as fault:
        return _fault(fault) if fault.exit_code == FAULT else _fail(str(fault), fault.exit_code)
    except (KeyboardInterrupt, typer.Abort):
        return _fail("Interrupted.", INTERRUPTED)
    except SystemExit:  # click's way to say that nobody reads its help on
        _silence(OUT)
        return 0
    except Exception as fault:  # noqa: BLE001  (the last resort of a program: one sentence, never a traceback)
        if isinstance(fault, OSError) and fault.errno == errno.ENOSPC:  # click prints the help itself
            _silence(OUT)
            return _fail(str(_untold(fault)), PublishError.exit_code)
        message = getattr(fault, "format_message", None)
        if message is None:
            return _fault(fault)
        return _fail(
            f"{message().rstrip('.')}. 'survstats --help' shows what can be called.", CallError.exit_code
        )
    if code == INTERRUPTED:  # typer catches the interruption itself
        return _fail("Interrupted.", INTERRUPTED)
    return code if isinstance(code, int) else 0


def _fault(fault: Exception) -> int:
    return _fail(f"This is a fault of survstats ({type(fault).__name__}: {fault}); please report it.", FAULT)


def _fail(sentence: str, code: int) -> int:
    _tell(f"survstats: {' '.join(sentence.split())}\n")
    return code


def _tell(text: str) -> None:
    """Write to stderr; where that is closed or broken the work goes on untold."""
    if sys.stderr is None:
        return
    try:
        print(text, end="", file=sys.stderr, flush=True)
    except OSError:
        _silence(ERR)


def _silence(number: int) -> None:
    """Send what is still to come on a broken stream nowhere, what waits in its buffer included."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, number)
    os.close(nowhere)


def _untold(fault: OSError | None) -> PublishError:
    why = fault.strerror if fault else "it is closed"
    return PublishError(
        "not_told", f"The standard output could not be written ({why}).", "Send it to a place that takes it."
    )


def _progress() -> Callable[[str], None]:
    """Tells each step on stderr: on one line of a terminal, on lines of their own elsewhere."""
    from survstats.report.wording import catalogue

    sentences, live = catalogue("en")["progress"], sys.stderr is not None and sys.stderr.isatty()
    last = ""

    def tell(code: str) -> None:
        nonlocal last
        if code == last:
            return
        last = code
        if live:
            _tell(f"\r\033[K{sentences[code] + ' ...' if code else ''}")
        elif code:
            _tell(f"{sentences[code]}\n")

    return tell


def _word_key(codes: Mapping[str, str]) -> str:
    return f"word.{codes['verdict.word']}" if codes["verdict.reason"] == "gates" else "word.not_all_checked"


def _words(counts: dict[str, int], texts: dict[str, str]) -> Wording:
    from survstats.report.wording import Facts, Wording
    from survstats.study.results import Number

    numbers = {name: Number(float(value), "count", "counted") for name, value in counts.items()}
    return Wording(Facts(numbers, texts))


def _say(words: Wording, key: str) -> None:
    from survstats.report.content import plain

    _print(plain(words.say(key)))


def _print(text: str) -> None:
    """Print text in lines of at most 80 columns, or as wide as the terminal up to 100.

    Raises
    ------
    PublishError
        ``not_told`` where stdout is closed or cannot be written; a reader that has gone is no fault.
    """
    import shutil
    import textwrap

    width = min(shutil.get_terminal_size((80, 24)).columns, 100)
    spoken = text.replace("\u00a0", " ").replace("\u2212", "-")
    safe = "".join(
        letter if letter.isprintable() else "?" for letter in spoken
    )  # no control letters of the records
    if sys.stdout is None:
        raise _untold(None)
    try:
        print(textwrap.fill(safe, width, subsequent_indent="  ", break_on_hyphens=False), flush=True)
    except BrokenPipeError:
        _silence(OUT)
    except OSError as fault:
        _silence(OUT)
        raise _untold(fault) from None


def _whole_number(typed: str, name: str) -> int:
    if not (typed.strip().isdecimal() and len(typed) < 10):
        raise CallError(
            "bad_count", f"{name} '{typed[:20]}' is no whole number of people.", "Write a count such as 12."
        )
    return int(typed)
