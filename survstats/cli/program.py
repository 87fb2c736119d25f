"""The command line: each command is one call of the package, told in one clear sentence where it fails."""

from __future__ import annotations

import errno
import io
import os
import sys

import typer

from survstats.cli.commands import app
from survstats.cli.telling import OUT, silence, tell, untold
from survstats.groundwork.errors import CallError, PublishError, SurvstatsError

FAULT, INTERRUPTED = 70, 130


def main() -> None:
    """Run the command line and leave with its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal that lacks a letter shows a question mark
    os.environ.setdefault(
        "OPENBLAS_NUM_THREADS", "1"
    )  # many small products: threads would wait for each other
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
        silence(OUT)
        return 0
    except Exception as fault:  # noqa: BLE001  (the last resort of a program: one sentence, never a traceback)
        if isinstance(fault, OSError) and fault.errno == errno.ENOSPC:  # click prints the help itself
            silence(OUT)
            return _fail(str(untold(fault)), PublishError.exit_code)
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
    tell(f"survstats: {' '.join(sentence.split())}\n")
    return code
