"""15,000 mishaps and the 100,000 people aboard: seconds and memory to load and check, from CSV, Parquet and XLSX.

    python tests/benchmarks/bench_intake.py [csv parquet xlsx]

Records are invented at three sizes: 150, 1,500 and 15,000 mishaps with a little over seven people each. Each reading
is a fresh process that reports its own peak memory. First the cells are compared with what pandas reads from the same
occupant file (read_csv, read_parquet, and read_excel by openpyxl); then times are printed: ours for load and check,
with the growth exponent between the sizes (slope of log seconds over log rows), and ours beside pandas for plain
reading of the occupant table alone. Exit code 1 if a cell differs or a bar is missed: 6 s and 1 GB from CSV and
Parquet, 45 s from XLSX, exponent 1.1. Seconds are processor seconds without imports (which are printed beside them,
as is the time by the clock), so that other work on the machine does not decide.
"""

from __future__ import annotations

import datetime
import json
import math
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

MISHAPS = (150, 1_500, 15_000)
BARS = {"csv": 6.0, "parquet": 6.0, "xlsx": 45.0}
MEMORY_MB = 1024.0
GROWTH = 1.1
TODAY = datetime.date(2026, 11, 24)
TABLES = ("mishap", "occupant")


def invent(mishaps: int, folder: Path, forms: list[str]) -> None:
    """Write the records of a size in each form."""
    import openpyxl

    from survstats.records.codebook import load_codebook
    from survstats.records.invented.studies import draw_study

    drawn = draw_study("bench_intake/0", mishaps=mishaps, effect=1.0)
    frames = {table: frame.astype(str) for table, frame in zip(TABLES, drawn, strict=True)}
    book = openpyxl.Workbook(write_only=True)
    for table, frame in frames.items():
        frame.to_csv(folder / f"{table}.csv", index=False)
        frame.to_parquet(folder / f"{table}.parquet")
        if "xlsx" not in forms:
            continue
        kinds = {f.name: f.kind for f in load_codebook().table(table)}
        sheet = book.create_sheet(table)
        sheet.append(list(frame.columns))
        columns = [typed(frame[name], kinds[name]) for name in frame.columns]
        for line in zip(*columns, strict=True):
            sheet.append(line)
    if "xlsx" in forms:
        book.save(folder / "records.xlsx")
    print(f"{len(frames['occupant']):,} occupants in {len(frames['mishap']):,} mishaps written", flush=True)


def typed(texts, kind: str) -> list[object]:
    """Numbers and dates as a spreadsheet holds them."""
    ways = {"integer": int, "number": float, "date": datetime.date.fromisoformat}

    def one(text: str) -> object:
        try:
            return ways[kind](text) if kind in ways and text != "inf" else text or None
        except ValueError:
            return text or None

    known = {text: one(text) for text in texts.unique()}
    return [known[text] for text in texts]


def paths(folder: Path, form: str) -> list[Path]:
    """Mishap and occupant file."""
    return [folder / (f"{table}.{form}" if form != "xlsx" else "records.xlsx") for table in TABLES]


def ours(folder: Path, form: str) -> dict[str, float]:
    """Load and check: seconds and rows."""
    from survstats.records.checking import check_records
    from survstats.records.loading import read_records
    from survstats.records.reading.tables import read_text_table

    begun = time.process_time()
    import pandera.pandas  # noqa: F401
    import pyarrow.parquet  # noqa: F401

    start, wall = time.process_time(), time.perf_counter()
    records = read_records(*paths(folder, form))
    loaded = time.process_time()
    findings = check_records(records, today=TODAY)
    checked, wall = time.process_time(), time.perf_counter() - wall
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    start_alone = time.process_time()
    read_text_table(paths(folder, form)[1], table="occupant")
    return {
        "load": loaded - start,
        "check": checked - loaded,
        "imports": start - begun,
        "wall": wall,
        "megabytes": peak,
        "alone": time.process_time() - start_alone,
        "rows": len(records.occupant),
        "findings": len(findings),
    }


def peer(folder: Path, form: str) -> dict[str, float]:
    """Plain reading of the occupant table by pandas, then every cell compared with ours."""
    import numpy as np
    import pandas as pd

    from survstats.records.reading.tables import read_text_table

    path = paths(folder, form)[1]
    start = time.process_time()
    if form == "csv":
        frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    elif form == "parquet":
        frame = pd.read_parquet(path)
    else:
        frame = pd.read_excel(path, sheet_name="occupant", dtype=object, keep_default_na=False)
    seconds = time.process_time() - start
    cells = read_text_table(path, table="occupant").cells
    differing = 0
    for name in frame.columns:
        theirs = frame[name].to_numpy()
        if form == "xlsx":
            theirs = np.array([plain(value) for value in theirs], dtype=object)
        differing += int((theirs != cells[name].to_numpy()).sum())
    return {"alone": seconds, "differing": differing, "cells": frame.size}


def plain(value: object) -> str:
    """A spreadsheet value as text."""
    if isinstance(value, datetime.datetime):
        return value.date().isoformat()
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def measured(what: str, folder: Path, form: str) -> dict[str, float]:
    """The same in a fresh process."""
    command = [sys.executable, __file__, what, str(folder), form]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def exponent(seconds: list[float]) -> float:
    """Slope of log seconds over log rows from the smallest to the largest size."""
    return math.log(seconds[-1] / seconds[0]) / math.log(MISHAPS[-1] / MISHAPS[0])


def main(forms: list[str]) -> int:
    """Write, compare, measure, judge."""
    missed = []
    with tempfile.TemporaryDirectory() as place:
        for size in MISHAPS:
            (Path(place) / str(size)).mkdir()
            command = [sys.executable, __file__, "invent", str(size), str(Path(place) / str(size)), *forms]
            subprocess.run(command, check=True)  # not here: a child's peak memory begins with its parent's
        for form in forms:
            largest = Path(place) / str(MISHAPS[-1])
            theirs = measured("peer", largest, form)
            print(f"{form}: {theirs['cells']:,} cells, {theirs['differing']} differ from pandas")
            runs = [measured("ours", Path(place) / str(size), form) for size in MISHAPS]
            for run in runs:
                print(
                    f"{form}: {run['rows']:>7,} people  load {run['load']:6.2f} s  check {run['check']:6.2f} s  "
                    f"(wall {run['wall']:.2f} s, imports {run['imports']:.2f} s)  "
                    f"peak {run['megabytes']:5.0f} MB  {run['findings']} findings",
                    flush=True,
                )
            whole = [run["load"] + run["check"] for run in runs]
            growth = exponent(whole)
            print(
                f"{form}: growth exponent {growth:.2f}; from the second size on {math.log10(whole[-1] / whole[-2]):.2f}"
            )
            print(
                f"{form}: occupant table alone: ours {runs[-1]['alone']:.2f} s, pandas {theirs['alone']:.2f} s, "
                f"ratio {runs[-1]['alone'] / theirs['alone']:.2f}"
            )
            missed += [f"{form}: cells differ"] * bool(theirs["differing"])
            missed += [f"{form}: slower than {BARS[form]} s"] * (whole[-1] > BARS[form])
            missed += [f"{form}: over 1 GB"] * (runs[-1]["megabytes"] > MEMORY_MB)
            missed += [f"{form}: growth over {GROWTH}"] * (growth > GROWTH)
    print("\n".join(missed) or "all bars met")
    return bool(missed)


if __name__ == "__main__":
    if sys.argv[1:2] == ["invent"]:
        invent(int(sys.argv[2]), Path(sys.argv[3]), sys.argv[4:])
        sys.exit()
    if sys.argv[1:2] in (["ours"], ["peer"]):
        print(json.dumps({"ours": ours, "peer": peer}[sys.argv[1]](Path(sys.argv[2]), sys.argv[3])))
        sys.exit()
    sys.exit(main(sys.argv[1:] or list(BARS)))
