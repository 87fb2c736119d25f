"""The papers of a study as files, and how they reach their folder."""

from __future__ import annotations

import csv
import datetime
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from survstats.groundwork.cells import csv_cell
from survstats.groundwork.errors import CallError
from survstats.groundwork.provenance import STEPS
from survstats.groundwork.whole_file import write_whole
from survstats.report.annex.paper import annex_content
from survstats.report.brief import brief_content
from survstats.report.budget.paper import budget_content
from survstats.report.figures import figure_data
from survstats.report.folder import MADE_BY, write_folder
from survstats.report.publish import Content, figures_of, figures_svg, render_html, render_pdf
from survstats.report.records_paper import records_content
from survstats.report.worksheet.page import worksheet_html
from survstats.study.results import SCHEMA_VERSION, Audience, Cell, StudyResults

_SEAL = "seal."


def publish(
    results: StudyResults,
    directory: str | Path,
    *,
    audience: Audience | None = None,
    now: datetime.datetime | None = None,
) -> None:
    """Write the board paper, its figures, tables, results and manifest into a folder, whole or not at all.

    Parameters
    ----------
    results : StudyResults
    directory : str or Path
        Made if absent; a folder of earlier papers is replaced whole.
    audience : {"board", "sharing"}, optional
        For whom the papers are meant to be; those the results were made for if not given. Results of whole counts
        cannot be masked afterwards, since they no longer know who was counted.
    now : datetime, optional
        The time printed on the paper and in the manifest.

    Raises
    ------
    CallError
        ``other_audience`` if the results were made for another audience.
    PublishError
        If the folder cannot be written; nothing is left behind then.
    """
    made_for = _audience(results)
    if audience not in (None, made_for):
        raise CallError(
            "other_audience",
            f"These results were made for '{made_for}', not for '{audience}'.",
            f"Run 'survstats brief --for {audience}' on the study itself.",
        )
    files = papers(results, now=now or datetime.datetime.now().astimezone())
    write_folder(Path(directory), files)


def papers(results: StudyResults, *, now: datetime.datetime) -> dict[str, bytes]:
    """Every file of the folder of papers, by its name inside it."""
    files = {"results.json": results.to_json().encode(), "manifest.json": manifest(results, now=now).encode()}
    contents: dict[str, Content] = {
        "brief": brief_content(results, date=now.date()),
        "annex": annex_content(results, date=now.date()),
        "records": records_content(results, date=now.date()),
    }
    budget = budget_content(results, date=now.date())
    if budget is not None:
        contents["budget"] = budget
    for paper, content in contents.items():
        files[f"{paper}.html"] = render_html(content).encode()
        drawn = figures_svg(content)
        files[f"{paper}.pdf"] = render_pdf(content, drawn=drawn)
        for name, svg in drawn.items():
            files[f"figures/{name}.svg"] = svg.encode()
        for name, figure in figures_of(content).items():
            files[f"figures/{name}.csv"] = csv_text(*figure_data(figure)).encode()
    sheet = worksheet_html(results, date=now.date())
    if sheet is not None:
        files["worksheet.html"] = sheet.encode()
    for name, table in results.tables.items():
        files[f"tables/{name}.csv"] = csv_text(table.columns, table.rows).encode()
    files["tables/numbers.csv"] = _numbers(results).encode()
    return files


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """A table as CSV, its texts harmless where a spreadsheet opens it (see `groundwork.cells`)."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([csv_cell(cell) if isinstance(cell, str) else cell for cell in row])
    return out.getvalue()


def write_file(path: Path, text: str, *, replace: bool = True) -> None:
    """Write one text file, whole or not at all; with ``replace=False`` only where nothing of that name is there yet.

    Raises
    ------
    PublishError
        As `survstats.groundwork.whole_file.write_whole`.
    """
    write_whole(path, text.encode("utf-8", errors="replace"), replace=replace)


def _numbers(results: StudyResults) -> str:
    columns = ("id", "value", "low", "high", "level", "unit", "method", "mishaps", "occupants")
    return csv_text(
        columns,
        [
            (name, *(getattr(number, part) for part in columns[1:]))
            for name, number in results.numbers.items()
        ],
    )


def _audience(results: StudyResults) -> str:
    return results.codes.get("paper.audience", "board")


def manifest(results: StudyResults, *, now: datetime.datetime) -> str:
    """What made the papers, from what, and the steps in the order in which they were sealed."""
    return (
        json.dumps(
            {
                "made_by": MADE_BY,
                "invented": results.codes["study.invented"],
                "schema_version": SCHEMA_VERSION,
                "audience": _audience(results),
                "made_at": str(now.year)
                if _audience(results) == "sharing"
                else now.isoformat(timespec="seconds"),
                **{name: entry for name, entry in results.provenance.items() if not name.startswith(_SEAL)},
                "order": _order(results.provenance),
            },
            indent=1,
        )
        + "\n"
    )


def _order(provenance: Mapping[str, str]) -> list[dict[str, str]]:
    """What was sealed, step after step: `survstats.groundwork.provenance.unbroken` says whether it is whole.

    Empty in papers for sharing, whose hashes of plan and records do not leave the house.
    """
    facts = {**provenance, "thresholds": provenance.get("verdict_thresholds", "")}
    return [
        {"step": step, **{name: facts[name] for name in names}, "seal": provenance[_SEAL + step]}
        for step, names in STEPS.items()
        if _SEAL + step in provenance
    ]
