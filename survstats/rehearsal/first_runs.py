"""What was the word of the first few studies of some cells, one by one?

The table of conditions counts words; a change of a world or of a gate that moves few of them would leave it looking
right. These studies can be drawn again in a minute, and must then be told as they were when the table was made.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pandas as pd

from survstats.groundwork.whole_file import check_place, write_whole
from survstats.rehearsal.conditions import demand_some, judged, pool
from survstats.rehearsal.scenarios import Cell, cells_named

RUNS = 10
#: A gain, a gain with unknown training, nothing, trained dead written down as untrained, and too few for a model.
CELLS = cells_named(("clean_29/30", "unknown_17/60", "null/30", "null_miscoded_half/30", "null/7"))


def told(cell: Cell, run: int) -> dict[str, str | int]:
    """One study of a cell from fresh seeds: word, direction, chance, difference to six digits."""
    out = judged(cell, "fresh", run)
    main = out.numbers.get("effect.rd")
    return {
        "scenario": cell.scenario.name,
        "mishaps": cell.mishaps,
        "run": run,
        "word": out.codes["verdict.word"],
        "direction": out.codes["verdict.direction"],
        "chance": out.codes["verdict.chance"],
        "difference": "" if main is None else f"{main.value:.6f}",
    }


def write_first_runs(path: Path, *, processes: int = 1) -> None:
    """Write the first studies of these cells to a new CSV file, one a line.

    Raises
    ------
    CallError
        ``bad_number`` of processes.
    PublishError
        As `check_place`, before anything is drawn.
    """
    demand_some("processes", processes)
    check_place(path)
    with pool(processes) as mapped:
        lines = [line for cell in CELLS for line in mapped(partial(told, cell), range(RUNS))]
    write_whole(path, pd.DataFrame(lines).to_csv(index=False, lineterminator="\n").encode())


def read_first_runs(path: Path) -> dict[tuple[str, int], dict[str, str]]:
    """The lines of such a file, by the name of the cell and the run, every cell as its text."""
    rows = pd.read_csv(path, dtype=str, keep_default_na=False).to_dict("records")
    return {
        (f"{row['scenario']}/{row['mishaps']}", int(row["run"])): {
            str(name): text for name, text in row.items()
        }
        for row in rows
    }
