"""How does a command speak: to its reader, about its progress, and where nobody listens?"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from survstats.groundwork.errors import PublishError
from survstats.groundwork.words import visible

if TYPE_CHECKING:
    from survstats.report.wording import Wording

OUT, ERR = 1, 2


def tell(text: str) -> None:
    """Write to stderr; where that is closed or broken the work goes on untold."""
    if sys.stderr is None:
        return
    try:
        print(text, end="", file=sys.stderr, flush=True)
    except OSError:
        silence(ERR)


def silence(number: int) -> None:
    """Send what is still to come on a broken stream nowhere, what waits in its buffer included."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, number)
    os.close(nowhere)


def untold(fault: OSError | None) -> PublishError:
    """What is raised where stdout is closed or cannot be written."""
    why = fault.strerror if fault else "it is closed"
    return PublishError(
        "not_told", f"The standard output could not be written ({why}).", "Send it to a place that takes it."
    )


def progress() -> Callable[[str], None]:
    """Tells each step on stderr: on one line of a terminal, on lines of their own elsewhere."""
    from survstats.report.wording import catalogue

    sentences, live = catalogue("en")["progress"], sys.stderr is not None and sys.stderr.isatty()
    last = ""

    def step(code: str) -> None:
        nonlocal last
        if code == last:
            return
        last = code
        if live:
            tell(f"\r\033[K{sentences[code] + ' ...' if code else ''}")
        elif code:
            tell(f"{sentences[code]}\n")

    return step


def words_of(counts: dict[str, int], texts: dict[str, str]) -> Wording:
    """Sentences about some counts and texts, by id."""
    from survstats.report.wording import Facts, Wording
    from survstats.study.results import Number

    numbers = {name: Number(float(value), "count", "counted") for name, value in counts.items()}
    return Wording(Facts(numbers, texts))


def say(words: Wording, *keys: str) -> None:
    """Print sentences of the catalogue, in a row."""
    from survstats.report.content import plain

    print_text(plain(words.join(*keys)))


def width() -> int:
    """Columns to write in: as wide as the terminal, from 60 to 100; 80 where there is none."""
    import shutil

    return max(60, min(shutil.get_terminal_size((80, 24)).columns, 100))


def print_text(text: str) -> None:
    """Print text, filled to the width of the terminal; see `print_lines`."""
    import textwrap

    print_lines([textwrap.fill(_safe(text), width(), subsequent_indent="  ", break_on_hyphens=False)])


def print_lines(lines: Sequence[str]) -> None:
    """Print lines as they are, but for control letters.

    Raises
    ------
    PublishError
        ``not_told`` where stdout is closed or cannot be written; a reader that has gone is no fault.
    """
    if sys.stdout is None:
        raise untold(None)
    try:
        print("\n".join("\n".join(_safe(part) for part in line.split("\n")) for line in lines), flush=True)
    except BrokenPipeError:
        silence(OUT)
    except OSError as fault:
        silence(OUT)
        raise untold(fault) from None


def _safe(text: str) -> str:
    """Text without control letters of the records, in letters that every terminal has."""
    spoken = text.replace("\u00a0", " ").replace("\u2212", "-")
    return visible(spoken, instead="?")
