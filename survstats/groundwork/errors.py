"""What happens when work cannot go on, and how it is told: one exception tree, one kind of notice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


class SurvstatsError(Exception):
    """Work cannot go on.

    Parameters
    ----------
    reason : str
        A stable code for programs (``"missing_column"``).
    plain : str
        One sentence for people that names file, row and field where there are any.
    remedy : str, optional
        What to do about it, one sentence.
    """

    exit_code = 70

    def __init__(self, reason: str, plain: str, remedy: str = "") -> None:
        super().__init__(reason, plain, remedy)
        self.reason = reason
        self.plain = plain
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.plain} {self.remedy}".strip()


class RecordsError(SurvstatsError):
    """The record files cannot be used (missing column, wrong code, not a table, no rows)."""

    exit_code = 1


class CallError(SurvstatsError):
    """The command or the function was called with words it cannot follow."""

    exit_code = 2


class StudyFileError(SurvstatsError):
    """The study file cannot be used; ``line`` is its line number, or None."""

    exit_code = 2

    def __init__(self, reason: str, plain: str, remedy: str = "", *, line: int | None = None) -> None:
        super().__init__(reason, plain, remedy)
        self.line = line


class PublishError(SurvstatsError):
    """The papers could not be written; nothing was left behind."""

    exit_code = 3


class NotEstimable(SurvstatsError):
    """These rows cannot carry this estimate; ``reason`` says why and the page says so in words.

    Reasons in use: ``no_rows``, ``one_arm``, ``one_outcome``, ``one_mishap``, ``arm_in_one_mishap``, ``few_mishaps``,
    ``no_discordant_mishaps``, ``not_converged``, ``no_free_column``, ``contradiction``.
    """


@dataclass(frozen=True)
class Notice:
    """Something the reader must know about a result.

    Numbers and codes only; it is kept with the results.

    Attributes
    ----------
    code : str
        What happened: ``gap_coded``, ``separated``, ``aliased_column``.
    values : mapping of str to float, int or str
        To whom or how much.
    """

    code: str
    values: Mapping[str, float | int | str] = field(default_factory=dict)
