"""Which commands are there, and what does each call?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from survstats import __version__
from survstats.cli.telling import print_lines, print_text, progress, say, width, words_of
from survstats.groundwork.errors import CallError

if TYPE_CHECKING:
    from survstats.study.headline import HeadlineResults
    from survstats.study.plan import Study
    from survstats.study.results import Audience

DEFAULT_OUT = {"board": Path("survstats-brief"), "sharing": Path("survstats-sharing")}
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
    out: Annotated[
        Path | None,
        typer.Option(help="The folder to write to: survstats-brief or survstats-sharing if not given."),
    ] = None,
    audience: Annotated[
        str,
        typer.Option("--for", help="board: whole counts; sharing: small counts withheld, no ids, no dates."),
    ] = "board",
) -> None:
    """Carry out the agreed analysis of a study and write its papers."""
    readers = _audience(audience)
    tell = progress()
    tell("reading")
    from survstats.records.demo import demo_folder
    from survstats.report.folder import refuse_place
    from survstats.report.papers import publish
    from survstats.study.plan import read_study
    from survstats.study.run import run

    plan, out = read_study(study or demo_folder(DEFAULT_DEMO)), out or DEFAULT_OUT[readers]
    refuse_place(out)
    results = run(plan, audience=readers, progress=tell)
    tell("writing")
    publish(results, out)
    tell("")
    from survstats.report.brief import answer
    from survstats.report.brief_decision import decision_lead, lead_told
    from survstats.report.brief_word import word_told
    from survstats.report.content import plain
    from survstats.report.wording import Wording, facts_of

    words = Wording(facts_of(results, brief_out=str(out)))
    lead = decision_lead(results, words)
    if lead is not None:
        say(words, "decision_lead.question")
        print_text(lead_told(lead))
    print_text(plain(answer(results, words)))
    print_text(plain(word_told(results, words)))
    say(words, "brief_done.written")


@app.command()
def check(
    study: Annotated[str, typer.Argument(help="A study folder.")],
    out: Annotated[
        Path | None,
        typer.Option(help="Write the findings to this .csv, or to this .xlsx with the cells marked."),
    ] = None,
) -> None:
    """List every finding in the records of a study at once."""
    print_text(f"Checking {study}")
    import datetime

    from survstats.cli.findings_out import check_findings_place, counts_of, titled_rows, write_findings
    from survstats.report.findings_text import findings_text
    from survstats.study.plan import read_study
    from survstats.study.steps import find, read_records

    if out is not None:
        check_findings_place(out)
    plan = read_study(study)
    records = read_records(plan)
    findings = find(records, study=plan, today=datetime.date.today())
    print_lines(["", *findings_text(titled_rows(findings), width=width()), ""])
    counts = counts_of(records, findings)
    words = words_of(counts, {"check.out": str(out)})
    read = "check.read_runs" if counts["check.runs"] else "check.read"
    say(words, read, "check.found_accepted" if counts["check.accepted"] else "check.found")
    _say_missing(plan)
    if out is not None:
        write_findings(out, records, findings)
        say(words, "check.written")
    if counts["check.error"]:
        raise typer.Exit(1)


@app.command(name="map")
def map_file(
    file: Annotated[Path, typer.Argument(help="A table of another form: CSV, XLSX or Parquet.")],
    out: Annotated[Path, typer.Option(help="The new file to write.")] = Path("mapping.toml"),
) -> None:
    """Propose how another file's columns and codes become ours, for a person to finish."""
    from survstats.groundwork.whole_file import check_place
    from survstats.records.mapping.proposal import names_columns, propose_mapping
    from survstats.report.papers import write_file

    if not file.name or (file.exists() and not file.is_file()):
        raise CallError("bad_file", f"'{file}' is no file.", "Name the table to be mapped.")
    check_place(out)
    proposal = propose_mapping(file)
    write_file(out, proposal, replace=False)
    words = words_of({}, {"map.file": str(file), "map.out": str(out)})
    for key in ("map.written", *(() if names_columns(proposal) else ("map.nothing",)), "map.finish"):
        say(words, key)


@app.command()
def form(
    file: Annotated[Path, typer.Argument(help="The new workbook (.xlsx) to write.")],
    study: Annotated[
        str, typer.Option(help="A study folder: its missing training papers are listed on the request sheet.")
    ] = "",
) -> None:
    """Write the collection form with drop-down lists, and the sheet that asks operators for missing papers."""
    from survstats.groundwork.whole_file import check_place
    from survstats.records.workbooks.collection_form import write_form

    if file.suffix.lower() != ".xlsx":
        raise CallError("bad_out", f"'{file}' is no workbook.", "Give a name that ends in .xlsx.")
    check_place(file)
    if study:
        from survstats.study.plan import read_study
        from survstats.study.steps import read_records

        write_form(file, records=read_records(read_study(study)))
    else:
        write_form(file)
    words = words_of({}, {"form.out": str(file)})
    for key in ("form.written", "form.request" if study else "form.use"):
        say(words, key)


@app.command()
def claim(
    aboard: Annotated[str, typer.Option(help="How many people were aboard.")],
    died: Annotated[str, typer.Option(help="How many of them died.")],
    trained_of_survivors: Annotated[
        str, typer.Option(help="Share of survivors trained: .8, 80 % or 75%-85%.")
    ],
    trained_aboard: Annotated[str, typer.Option(help="Share trained of everyone aboard, if known.")] = "",
    trained_of_dead: Annotated[str, typer.Option(help="Share trained of the dead, if known.")] = "",
    out: Annotated[Path | None, typer.Option(help="Write it on one page as well: a name in .html.")] = None,
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
    if out is not None:
        _write_claim(out, found)
    words = Wording(Facts(found.numbers, {"claim.out": str(out)}))
    for key in (*found.sentences, "caution", *(("written",) if out else ())):
        say(words, f"claim.{key}")


@app.command()
def trace(
    name: Annotated[
        str, typer.Argument(help="A number, such as effect.rd, or a cell, such as flow.aboard.current.")
    ],
    folder: Annotated[
        Path, typer.Option("--in", help="The folder of papers, or its results.json.")
    ] = DEFAULT_OUT["board"],
    rows: Annotated[str, typer.Option(help="all: list every row, not only the first.")] = "",
) -> None:
    """Follow a printed number back to the counts, the ledger and the rows it rests on."""
    from survstats.report.trace_text import trace_text
    from survstats.study.results import read_results
    from survstats.study.trace import trace as follow

    if rows not in ("", "all"):
        raise CallError("bad_rows", f"--rows '{rows[:20]}' is not known.", "Write all, or leave it out.")
    results = read_results(folder)
    found = follow(results, name)
    print_lines(trace_text(results, found, width=width(), all_rows=rows == "all"))


@app.command()
def demo(
    name: Annotated[
        str,
        typer.Argument(
            help="demo_small, demo_main, demo_null, demo_survivor_only, demo_harm, demo_separation or demo_dirty."
        ),
    ],
    directory: Annotated[Path, typer.Argument(help="A folder that does not exist yet.")],
) -> None:
    """Write an invented study to start from."""
    from survstats.records.demo import DIRTY_NAME, copy_demo

    copy_demo(name, directory)
    if name == DIRTY_NAME:
        print_text(
            f"Wrote a small failing study and its passing twin for every rule to {directory}: "
            f"try 'survstats check {directory}/R7/fails'."
        )
    else:
        print_text(f"Wrote the invented study {name} to {directory}: try 'survstats brief {directory}'.")


def _say_missing(study: Study) -> None:
    """Which figures the decision of a study file lacks: that stops nothing, and no money is told without them."""
    decision = study.plan.decision
    if decision is None or not decision.missing:
        return
    words = words_of({}, {})
    names = words.listed([words.template(f"input.name.{code}") for code in decision.missing])
    say(words_of({}, {"check.missing": names}), "check.decision_missing")


def _write_claim(out: Path, found: HeadlineResults) -> None:
    """Write the page; one of an earlier call alone is replaced."""
    if out.suffix.lower() != ".html":
        raise CallError("bad_out", f"--out '{out}' is no page.", "Give a name that ends in .html.")
    from survstats.groundwork.whole_file import check_place, write_whole
    from survstats.report.claim_paper import claim_paper, is_claim_paper

    ours = is_claim_paper(out)
    check_place(out, replace=ours)
    write_whole(out, claim_paper(found.numbers, found.sentences).encode(), replace=ours)


def _audience(typed: str) -> Audience:
    known: dict[str, Audience] = {"board": "board", "sharing": "sharing"}
    if typed not in known:
        raise CallError("bad_audience", f"--for '{typed[:20]}' is not known.", "Write board or sharing.")
    return known[typed]


def _whole_number(typed: str, name: str) -> int:
    if not (typed.strip().isdecimal() and len(typed) < 10):
        raise CallError(
            "bad_count", f"{name} '{typed[:20]}' is no whole number of people.", "Write a count such as 12."
        )
    return int(typed)
