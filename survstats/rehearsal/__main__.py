"""Rehearses the verdict: ``python -m survstats.rehearsal conditions --out FILE``, and ``first_runs`` beside it."""

import argparse
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from survstats.groundwork.errors import SurvstatsError
from survstats.rehearsal.conditions import rehearse_all
from survstats.rehearsal.first_runs import write_first_runs
from survstats.rehearsal.scenarios import CELLS, Cell, cells_named


def main(typed: Sequence[str] | None = None) -> int:
    """Read the command line and run the cells asked for."""
    parser = argparse.ArgumentParser(prog="python -m survstats.rehearsal", description=__doc__)
    parser.add_argument(
        "what",
        choices=["conditions", "first_runs"],
        help="the table of how often which word is said, or the first studies of some cells one by one",
    )
    parser.add_argument(
        "--out",
        type=Path,
        required=True,
        help="CSV file; cells that stand in a table are not run again, first runs ask for a new file",
    )
    parser.add_argument("--runs", type=int, default=300, help="studies a cell")
    parser.add_argument("--cells", default="", help="NAME,... such as null/30, or null for all its sizes")
    parser.add_argument("--seeds", choices=["fresh", "tuning"], default="fresh")
    parser.add_argument("--processes", type=int, default=1)
    asked = parser.parse_args(typed)
    try:
        if asked.what == "first_runs":
            write_first_runs(asked.out, processes=asked.processes)
            return 0
        rehearse_all(
            _cells(asked.cells),
            asked.out,
            runs=asked.runs,
            seeds=asked.seeds,
            processes=asked.processes,
            progress=lambda name: print(f"{datetime.now():%H:%M:%S} {name}", file=sys.stderr, flush=True),
        )
    except SurvstatsError as fault:
        print(fault, file=sys.stderr)
        return fault.exit_code
    return 0


def _cells(typed: str) -> tuple[Cell, ...]:
    """The cells asked for; a comma too many is no name, and nothing but commas is no cell."""
    names = tuple(name for name in typed.split(",") if name.strip())
    return cells_named(names or (typed,)) if typed else CELLS


if __name__ == "__main__":
    sys.exit(main())
