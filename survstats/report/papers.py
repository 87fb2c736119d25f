"""The papers of a study as files, and how they reach their folder."""

from __future__ import annotations

import csv
import datetime
import io
import json
from collections.abc import Iterable, Sequence
from pathlib import Path

from survstats.groundwork.errors import PublishError
from survstats.report.brief import brief_content
from survstats.report.figures import figure_data
from survstats.report.folder import MADE_BY, write_folder
from survstats.report.publish import figures_of, figures_svg, render_html, render_pdf
from survstats.study.results import SCHEMA_VERSION, Cell, StudyResults

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\n")


def publish(results: StudyResults, directory: str | Path, *, now: datetime.datetime | None = None) -> None:
    """Write the board paper, its figures, tables, results and manifest into a folder, whole or not at all.

    Parameters
    ----------
    results : StudyResults
    directory : str or Path
        Made if absent; a folder of earlier papers is replaced whole.
    now : datetime, optional
        The time printed on the paper and in the manifest.

    Raises
    ------
    PublishError
        If the folder cannot be written; nothing is left behind then.
    """
    files = papers(results, now=now or datetime.datetime.now().astimezone())
    try:
        write_folder(Path(directory), files)
    except OSError as fault:
        raise _not_written(directory, fault) from None


def papers(results: StudyResults, *, now: datetime.datetime) -> dict[str, bytes]:
    """Every file of the folder of papers, by its name inside it."""
    content = brief_content(results, date=now.date())
    files = {
        "brief.html": render_html(content).encode(),
        "brief.pdf": render_pdf(content),
        "results.json": results.to_json().encode(),
        "manifest.json": _manifest(results, now).encode(),
    }
    for name, svg in figures_svg(content).items():
        files[f"figures/{name}.svg"] = svg.encode()
    for name, figure in figures_of(content).items():
        files[f"figures/{name}.csv"] = csv_text(*figure_data(figure)).encode()
    for name, table in results.tables.items():
        files[f"tables/{name}.csv"] = csv_text(table.columns, table.rows).encode()
    files["tables/numbers.csv"] = _numbers(results).encode()
    return files


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """A table as CSV; a text cell that a spreadsheet would take for a formula gets a leading apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow(["" if cell is None else _neutral(cell) for cell in row])
    return out.getvalue()


def write_file(path: Path, text: str) -> None:
    """Write one text file.

    Raises
    ------
    PublishError
        ``not_written`` if that cannot be done.
    """
    try:
        path.write_text(text, encoding="utf-8", newline="")
    except OSError as fault:
        raise _not_written(path, fault) from None


def _not_written(place: str | Path, fault: OSError) -> PublishError:
    return PublishError(
        "not_written", f"'{place}' could not be written ({fault.strerror}).", "Choose another name or place."
    )


def _neutral(cell: Cell) -> Cell:
    if not isinstance(cell, str):
        return cell
    text = cell.replace("\r\n", "\n").replace("\r", "\n")  # the writer does not quote a lone carriage return
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _numbers(results: StudyResults) -> str:
    columns = ("id", "value", "low", "high", "level", "unit", "method", "mishaps", "occupants")
    return csv_text(
        columns,
        [
            (name, *(getattr(number, part) for part in columns[1:]))
            for name, number in results.numbers.items()
        ],
    )


def _manifest(results: StudyResults, now: datetime.datetime) -> str:
    return (
        json.dumps(
            {
                "made_by": MADE_BY,
                "invented": results.codes["study.invented"],
                "schema_version": SCHEMA_VERSION,
                "made_at": now.isoformat(timespec="seconds"),
                **results.provenance,
            },
            indent=1,
        )
        + "\n"
    )
