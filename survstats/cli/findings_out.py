"""How do the findings leave: counted, as rows for the terminal, as a file?"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from survstats.groundwork.errors import CallError
from survstats.groundwork.whole_file import check_place
from survstats.records.finding import Finding, Severity

if TYPE_CHECKING:
    from survstats.records.loading import Records

COLUMNS = ("rule", "severity", "file", "row", "field", "seen", "expected", "remedy")
_HEAD = ",".join(COLUMNS).encode()


def check_findings_place(out: Path) -> None:
    """Refuse, before any work, a name that is neither CSV nor XLSX and a place that cannot or must not be written.

    Raises
    ------
    CallError
        ``bad_out``.
    PublishError
        As `survstats.groundwork.whole_file.check_place`.
    """
    if out.suffix.lower() == ".csv":
        check_place(out, replace=_is_findings(out))
    elif out.suffix.lower() == ".xlsx":
        from survstats.records.workbooks.marked import is_marked

        check_place(out, replace=is_marked(out))
    else:
        raise CallError(
            "bad_out", f"--out '{out}' is neither CSV nor XLSX.", "Give a name that ends in .csv or .xlsx."
        )


def counts_of(records: Records, findings: Sequence[Finding]) -> dict[str, int]:
    """Rows of each table, and findings of each severity."""
    counts = {
        "check.mishaps": len(records.mishap),
        "check.occupants": len(records.occupant),
        "check.runs": len(records.training_run),
    }
    for severity in get_args(Severity):
        counts[f"check.{severity}"] = sum(finding.severity == severity for finding in findings)
    return counts


def titled_rows(findings: Sequence[Finding]) -> list[tuple[str | int | None, ...]]:
    """One row for each finding, the title of its rule in the third place."""
    from survstats.records.rules.rulebook import RULEBOOK

    return [(*_row(finding)[:2], RULEBOOK[finding.rule].title, *_row(finding)[2:]) for finding in findings]


def write_findings(out: Path, records: Records, findings: Sequence[Finding]) -> None:
    """Write the findings as a table, or as a workbook with the cells of the records marked.

    Raises
    ------
    PublishError
        As `survstats.groundwork.whole_file.write_whole`.
    """
    if out.suffix.lower() == ".xlsx":
        from survstats.records.workbooks.marked import write_marked

        write_marked(out, records, findings)
    else:
        from survstats.report.papers import csv_text, write_file

        table = csv_text(COLUMNS, [_row(finding) for finding in findings])
        write_file(out, table, replace=_is_findings(out))


def _is_findings(path: Path) -> bool:
    """Whether an earlier list of findings stands there: that alone may be replaced."""
    try:
        if not path.is_file():  # a pipe would never end
            return False
        with path.open("rb") as file:
            return file.read(len(_HEAD) + 2).rstrip(b"\r\n") == _HEAD
    except OSError:
        return False


def _row(finding: Finding) -> tuple[str | int | None, ...]:
    return tuple(getattr(finding, column) for column in COLUMNS)
