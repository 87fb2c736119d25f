"""What is wrong or worth knowing in the records, and where does it stand?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from typing import Literal

import pandas as pd

Severity = Literal["error", "warning", "accepted", "statement"]


@dataclass(frozen=True)
class Finding:
    """One thing found in the record files.

    Attributes
    ----------
    rule : str
        Id of the rule: ``F..`` about single cells and files, ``M..`` about mappings, ``R..`` about what fields say
        together, ``T..`` about trainer runs.
    severity : {"error", "warning", "accepted", "statement"}
        An error blocks the analysis, a warning does not, a statement only informs; accepted is an error or warning
        that the study file lets stand, with a reason.
    file : str
        Name of the file, without its folder, and of the sheet where it has sheets ("records.xlsx, sheet mishap").
    row : int or None
        Row as a spreadsheet counts it (the header is row 1); None where it concerns the whole file.
    field : str
        Name of the column; empty where it concerns no single one.
    seen, expected, remedy : str
        What stands there, what should, and what to do.
    """

    rule: str
    severity: Severity
    file: str
    row: int | None
    field: str
    seen: str
    expected: str
    remedy: str


def sentence(finding: Finding) -> str:
    """The finding as one plain sentence: file, row, field, seen, expected, what to do; a statement just says it."""
    place = [finding.file]
    if finding.row is not None:
        place.append(f"row {finding.row}")
    if finding.field:
        place.append(finding.field)
    found = "" if finding.severity == "statement" else "found "
    parts = f"{', '.join(place)}: {found}{finding.seen or 'an empty cell'}"
    if finding.expected:
        parts += f", expected {finding.expected}"
    if finding.remedy:
        parts += f"; {finding.remedy}"
    return parts if parts.endswith("?") else parts.rstrip(".") + "."


def findings_frame(findings: Iterable[Finding]) -> pd.DataFrame:
    """Findings as a frame, one row each; ``row`` is a nullable integer."""
    frame = pd.DataFrame([asdict(finding) for finding in findings], columns=[f.name for f in fields(Finding)])
    return frame.astype({"row": "Int64"})
