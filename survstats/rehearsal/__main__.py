"""Rehearses the verdict: ``python -m survstats.rehearsal conditions --out FILE``."""

import argparse
import sys
from datetime import datetime
from pathlib import Path

from survstats.groundwork.errors import SurvstatsError
from survstats.rehearsal.conditions import rehearse_all
from survstats.rehearsal.scenarios import CELLS, cells_named


def main() -> int:
    """Read the command line and run the cells asked for."""
    parser = argparse.ArgumentParser(prog="python -m survstats.rehearsal", description=__doc__)
    parser.add_argument("what", choices=["conditions"], help="the table of how often which word is said")
    parser.add_argument(
        "--out", type=Path, required=True, help="CSV file; cells that stand in it are not run again"
    )
    parser.add_argument("--runs", type=int, default=300, help="studies a cell")
    parser.add_argument("--cells", default="", help="NAME,... such as null/30, or null for all its sizes")
    parser.add_argument("--seeds", choices=["fresh", "tuning"], default="fresh")
    parser.add_argument("--processes", type=int, default=1)
    asked = parser.parse_args()
    try:
        rehearse_all(
            cells_named(tuple(asked.cells.split(","))) if asked.cells else CELLS,
            asked.out,
            runs=asked.runs,
            seeds=asked.seeds,
            processes=asked.processes,
            progress=lambda name: print(f"{datetime.now():%H:%M:%S} {name}", file=sys.stderr, flush=True),
        )
    except SurvstatsError as fault:
        print(fault, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
