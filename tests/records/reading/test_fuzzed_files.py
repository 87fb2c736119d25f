"""Spoilt files: each is refused in one sentence, or gives findings, or loads clean; no value changes in silence.

What a file holds is read a second time by another road (pandas for CSV, openpyxl for workbooks, Python objects of
pyarrow for Parquet) and compared with every cell of the records.
"""

from __future__ import annotations

import csv
import datetime
import io
import warnings
import zipfile
from collections import Counter

import numpy as np
import openpyxl
import pandas as pd
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rewritten import DATE_FORMS, as_csv, as_parquet, as_xlsx, kinds, texts, with_shared_texts

from survstats.groundwork.errors import RecordsError
from survstats.records.checking import check_records
from survstats.records.cohort import build_cohort
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records

TODAY = datetime.date(2026, 11, 24)
TABLES = ("mishap", "occupant")
CLOSED = []  # workbooks that loaded and that openpyxl cannot open
TIMES = [0.5, pytest.param(40, marks=pytest.mark.slow)]  # some 130 files, and all 10,000
ENCODINGS = {"UTF-16": "utf-16", "Windows-1252": "windows-1252"}
SEPARATORS = {"semicolons": ";", "tabs": "\t", "vertical bars": "|"}


@pytest.fixture(scope="module")
def frames():
    """Three mishaps of the small demo study and everyone aboard."""
    mishap, occupant = (texts(demo_folder("demo_small") / f"{table}.csv") for table in TABLES)
    mishap = mishap.iloc[:3]
    return {"mishap": mishap, "occupant": occupant[occupant["mishap_id"].isin(mishap["mishap_id"])]}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzzed")


def outcome(folder, data):
    """What becomes of the two files: refused, findings or clean."""
    paths = {table: folder / f"{table}.bin" for table in TABLES}
    for table in TABLES:
        paths[table].write_bytes(data[table])
    try:
        records = read_records(paths["mishap"], paths["occupant"])
    except RecordsError as error:
        refusal = error
    else:
        refusal = None
    if refusal is not None:
        assert ".bin" in refusal.plain
        assert refusal.plain.endswith(".")
        assert "\n" not in str(refusal)
        assert len(str(refusal)) < 1500
        assert refusal.remedy
        return "refused"
    for table in TABLES:
        nothing_changed(records, table, data[table])
    findings = check_records(records, today=TODAY)
    if any(finding.severity == "error" for finding in findings):
        return "findings"
    ledger = build_cohort(derive(records, currency_months=24), records, population="P2").ledger
    assert ledger.line("aboard").occupants - ledger.line("no_row").occupants == len(records.occupant)
    return "clean"


def nothing_changed(records, table, data):
    """Every cell is what the other road reads, or an announced other form of it."""
    found = [f for f in records.findings if f.file.startswith(f"{table}.bin")]
    try:
        header, lines = second_road(data, table, found)
    except Exception:  # noqa: BLE001 openpyxl reads parts of a workbook that hold no records
        assert data.startswith(b"PK")
        CLOSED.append(table)
        return
    frame = records.raw[table]
    assert len(frame) == len(lines)
    said = {f.rule: f for f in found if f.rule == "F10"} | {f.field: f for f in found if f.rule == "F11"}
    for name, kind in kinds(table).items():
        if name not in header:
            assert not frame[name].any()
            continue
        column = header.index(name)
        for at, (line, text) in enumerate(zip(lines, frame[name], strict=True)):
            stands = line[column]
            assert records.place(table, name, at)[3] == stands
            if text == stands:
                continue
            if kind == "date":
                assert datetime.date.fromisoformat(text) == day_by_words(stands, said[name].seen)
            else:
                assert kind in ("integer", "number")
                assert said["F10"]
                assert text == ".".join(stands.split(","))


def day_by_words(text, said):
    """The day of a text in one of the forms announced, by the standard library."""
    forms = {
        "DD.MM.YYYY": "%d.%m.%Y",
        "DD/MM/YYYY": "%d/%m/%Y",
        "MM/DD/YYYY": "%m/%d/%Y",
        "YYYY/MM/DD": "%Y/%m/%d",
    }
    for form in [forms.get(said.removeprefix("dates written "), ""), *forms.values(), "%d %b %Y", "%d-%B-%Y"]:
        try:
            return datetime.datetime.strptime(text, form).date()
        except ValueError:
            continue
    return datetime.date.fromisoformat(text[:10])


def second_road(data, table, found):
    if data.startswith(b"PK"):
        return stripped(by_openpyxl(data, table))
    if data.startswith(b"PAR1"):
        return stripped(by_pyarrow(data))
    said = " ".join(f.seen for f in found if f.rule == "F9")
    encoding = next((code for word, code in ENCODINGS.items() if word in said), "utf-8-sig")
    separator = next((sign for word, sign in SEPARATORS.items() if word in said), ",")
    return stripped(by_pandas(data, encoding, separator))


def stripped(lines):
    """Header and lines without those that hold nothing; blanks at the ends of cells taken off."""
    lines = [[cell.strip() for cell in line] for line in lines]
    lines = [line for line in lines if any(line)]
    return lines[0], lines[1:]


def by_pandas(data, encoding, separator):
    widest = max(len(line) for line in csv.reader(io.StringIO(data.decode(encoding)), delimiter=separator))
    frame = pd.read_csv(
        io.BytesIO(data),
        sep=separator,
        encoding=encoding,
        header=None,
        names=list(range(widest)),
        index_col=False,
        dtype=str,
        na_filter=False,
        skip_blank_lines=False,
    )
    return frame.fillna("").to_numpy().tolist()


def by_openpyxl(data, table):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True)
    sheet = next((page for page in book if page.title.strip().lower() == table), book.worksheets[0])
    sheet.reset_dimensions()
    lines = [[as_text(cell.value) for cell in line] for line in sheet.iter_rows()]
    header = next(line for line in lines if any(line))
    width = max(at for at, cell in enumerate(header, start=1) if cell.strip())
    return [[*line, *[""] * width][:width] for line in lines]


def by_pyarrow(data):
    columns = pq.read_table(io.BytesIO(data)).to_pydict()
    lines = zip(*columns.values(), strict=True)
    return [list(columns), *([as_text(value) for value in line] for line in lines)]


def as_text(value):
    """What the records say of a value of a typed file."""
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return np.format_float_positional(value, trim="-") if np.isfinite(value) else str(value)
    if isinstance(value, datetime.datetime):
        return str(value).removesuffix(" 00:00:00")
    if isinstance(value, datetime.time):
        return str(value).removesuffix(":00") if value.second == 0 else str(value)
    return str(value)


def spoilt(data, rng, other):
    """Bytes with one to three of them flipped, cut, put in, doubled, or spliced with another file."""
    data = bytearray(data)
    for _ in range(rng.choice([1, 1, 2, 3])):
        at = int(rng.integers(0, len(data) + 1))
        length = int(rng.choice([1, 1, 1, 2, 5, 40]))
        way = rng.integers(0, 7)
        if way == 0 and data:
            data[min(at, len(data) - 1)] ^= 1 << int(rng.integers(0, 8))
        elif way == 1:
            data[at : at + length] = rng.bytes(min(length, len(data) - at))
        elif way == 2:
            del data[at : at + length]
        elif way == 3:
            data[at:at] = rng.bytes(length)
        elif way == 4:
            data[at:at] = data[at : at + length]
        elif way == 5:
            start = int(rng.integers(0, len(other)))
            data[at : at + length] = other[start : start + length]
        else:
            data[at : at + 1] = bytes(rng.choice(list(b",;\"\n\r\t'.-0 \xe9"), 1).astype(np.uint8))
    return bytes(data)


def spoilt_inside(data, rng, other):
    """A workbook whose parts are spoilt before they are packed, so that no checksum gives it away."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        parts = [name for name in old.namelist() if name.startswith(("xl/w", "xl/s"))]
        chosen = rng.choice(parts)
        for name in old.namelist():
            part = old.read(name)
            new.writestr(name, spoilt(part, rng, other) if name == chosen else part)
    return out.getvalue()


@pytest.mark.parametrize("times", TIMES)
def test_spoilt_bytes(times, frames, folder):
    csvs = {
        table: [
            as_csv(frames[table], table),
            as_csv(
                frames[table], table, delimiter=";", decimal=",", dates="slashes", encoding="windows-1252"
            ),
            as_csv(frames[table], table, delimiter="\t", dates="words", encoding="utf-16"),
        ]
        for table in TABLES
    }
    book = with_shared_texts(as_xlsx(frames))
    parquets = {table: as_parquet(frames[table], table) for table in TABLES}
    rng = np.random.default_rng(20261125 + round(times))
    seen = Counter()
    CLOSED.clear()
    for number in range(round(190 * times)):
        spoil = TABLES[number % 2]
        if number % 7 < 4:
            data = {table: csvs[table][number % 3] for table in TABLES}
            data[spoil] = spoilt(data[spoil], rng, book)
        elif number % 7 < 6:
            data = dict(parquets)
            data[spoil] = spoilt(data[spoil], rng, csvs[spoil][0])
        else:
            data = {table: csvs[table][0] for table in TABLES}
            data[spoil] = (spoilt if number % 3 == 0 else spoilt_inside)(book, rng, csvs[spoil][0])
        seen[outcome(folder, data)] += 1
    print(f"{seen.total()} files spoilt byte by byte:", dict(seen), f"not compared: {len(CLOSED)}")
    assert len(CLOSED) < 10 * times
    assert min(seen[word] for word in ("refused", "findings", "clean")) > 2 * times


POOL = [
    *["", "unknown", "na", "yes", "0", "1", "true", "2,5", "1,250", "-1", "inf", "nan", "1e5", "99999"],
    *["03/04/2015", "25/04/2015", "04/25/2015", "2015-02-30", "3 Mar 2015", "01.02.2003", "2015-01-01 00:00"],
    *["=1+1", "#N/A", "'1", "<script>alert(1)</script>", '"', '""', '","', "a;b", "a\tb", "a\nb", " x "],
    *["\u202eabc", "é", "€", "x" * 5000],
]
CELLS = st.one_of(st.sampled_from(POOL), st.text(max_size=8))
CHANGES = st.lists(
    st.tuples(
        st.sampled_from(["cell"] * 6 + ["rename", "drop", "double", "blank", "again", "away"]),
        st.sampled_from(TABLES),
        st.integers(0, 40),
        st.integers(0, 60),
        CELLS,
    ),
    min_size=1,
    max_size=5,
)
WAYS = st.tuples(
    st.sampled_from(["csv", "csv", "xlsx", "shared xlsx", "plain xlsx", "parquet", "plain parquet"]),
    st.sampled_from([",", ";", "\t", "|"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "windows-1252"]),
    st.sampled_from([".", ","]),
    st.sampled_from(list(DATE_FORMS)),
)


def changed(frames, changes):
    frames = {table: frame.copy() for table, frame in frames.items()}
    for kind, table, row, column, text in changes:
        frame = frames[table]
        row, column = row % max(len(frame), 1), column % max(frame.shape[1], 1)
        if frame.empty:
            continue
        if kind == "cell":
            frame.iloc[row, column] = text
        elif kind == "rename":
            frame.columns = [text if at == column else name for at, name in enumerate(frame.columns)]
        elif kind == "drop":
            frame = frame.iloc[:, np.arange(frame.shape[1]) != column]
        elif kind == "double":
            frame = frame.iloc[:, [*range(frame.shape[1]), column]]
        elif kind == "blank":
            frame.iloc[row] = ""
        elif kind == "again":
            frame = frame.iloc[[*range(len(frame)), row]]
        else:
            frame = frame.iloc[np.arange(len(frame)) != row]
        frames[table] = frame
    return frames


def written(frames, way):
    form, delimiter, encoding, decimal, dates = way
    if "parquet" in form:
        return {t: as_parquet(frame, t, typed=form == "parquet") for t, frame in frames.items()}
    if "xlsx" in form:
        book = as_xlsx(frames, typed=form != "plain xlsx")
        return dict.fromkeys(frames, with_shared_texts(book) if form == "shared xlsx" else book)
    return {
        t: as_csv(frame, t, delimiter=delimiter, encoding=encoding, decimal=decimal, dates=dates)
        for t, frame in frames.items()
    }


@pytest.mark.parametrize("times", TIMES)
def test_spoilt_cells(times, frames, folder):
    seen = Counter()

    @settings(
        max_examples=round(80 * times),
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(changes=CHANGES, way=WAYS)
    def each(changes, way):
        try:
            data = written(changed(frames, changes), way)
        except (UnicodeEncodeError, ValueError, openpyxl.utils.exceptions.IllegalCharacterError):
            seen["cannot be written"] += 1
            return
        seen[outcome(folder, data)] += 1

    each()
    del seen["cannot be written"]
    assert seen.total() >= 60 * times
    print(f"{seen.total()} files spoilt cell by cell:", dict(seen))
    assert min(seen[word] for word in ("refused", "findings", "clean")) > 2 * times


@pytest.mark.parametrize("form", ["csv", "xlsx", "parquet"])
@pytest.mark.parametrize(
    ("table", "name"), [("mishap", "water_temp_c"), ("occupant", "outcome"), ("mishap", "event_date")]
)
def test_a_cell_changed_in_silence_would_be_seen(table, name, form, frames, folder):
    data = written(frames, (form, ";", "utf-8", ",", "dots"))
    assert outcome(folder, data) in ("clean", "findings")
    records = read_records(folder / "mishap.bin", folder / "occupant.bin")
    nothing_changed(records, table, data[table])
    cells = records.raw[table][name]
    cells.iloc[1] = cells.iloc[1].replace("1", "2") if "1" in cells.iloc[1] else "1"
    with pytest.raises(AssertionError):
        nothing_changed(records, table, data[table])
