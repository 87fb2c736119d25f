"""The same tables, written in other files: other orders, separators, encodings, decimal signs, dates, formats."""

from __future__ import annotations

import csv
import datetime
import io
import re
import zipfile

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from survstats.records.codebook import load_codebook

DATE_FORMS = {
    "iso": "%Y-%m-%d",
    "dots": "%d.%m.%Y",
    "slashes": "%d/%m/%Y",
    "american": "%m/%d/%Y",
    "year first": "%Y/%m/%d",
    "words": "%d %b %Y",
    "dashes": "%d-%B-%Y",
}


def texts(path):
    """A CSV file of ours as texts."""
    return pd.read_csv(path, dtype=str, keep_default_na=False)


def kinds(table):
    return {field.name: field.kind for field in load_codebook().table(table)}


def as_csv(frame, table, *, delimiter=",", encoding="utf-8", decimal=".", dates="iso", line_end="\n"):
    known = kinds(table)
    lines = [list(frame.columns)]
    for line in frame.itertuples(index=False, name=None):
        cells = []
        for name, text in zip(frame.columns, line, strict=True):
            if known.get(name) in ("integer", "number"):
                text = text.replace(".", decimal)
            elif known.get(name) == "date":
                text = redated(text, DATE_FORMS[dates])
            cells.append(text)
        lines.append(cells)
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator=line_end).writerows(lines)
    return out.getvalue().encode(encoding)


def redated(text, form):
    try:
        return datetime.date.fromisoformat(text).strftime(form)
    except ValueError:
        return text


def value(text, kind):
    """What a spreadsheet or a data base would hold for a text: a number, a date, a time, nothing."""
    if text == "":
        return None
    try:
        if kind == "integer":
            return int(text)
        if kind == "number":
            return float(text) if text != "inf" else text
        if kind == "date":
            return datetime.date.fromisoformat(text)
        if kind == "time":
            return datetime.time.fromisoformat(text)
    except ValueError:
        pass
    return text


def as_xlsx(frames, *, typed=True, other_sheets=()):
    """A workbook with one sheet for each table (or for each named part of one)."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name in other_sheets:
        book.create_sheet(name).append(["Read me first."])
    for sheet, frame in frames.items():
        table = sheet.strip().lower()
        known = kinds("occupant" if table == "roster" else table)
        page = book.create_sheet(sheet)
        page.append(list(frame.columns))
        for line in frame.itertuples(index=False):
            cells = zip(frame.columns, line, strict=True)
            page.append(
                [value(text, known.get(name, "text")) if typed else text or None for name, text in cells]
            )
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


_INLINE = re.compile(r'<c r="([A-Z]+[0-9]+)"([^>]*) t="inlineStr"><is>(<t.*?</t>)</is></c>', re.DOTALL)


_TEXTS_TYPE = 'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"'


def with_shared_texts(data):
    """A workbook whose texts stand in one table of texts, as office programs write it."""
    texts = []

    def shared(found):
        texts.append(found[3])
        return f'<c r="{found[1]}"{found[2]} t="s"><v>{len(texts) - 1}</v></c>'

    relation = (
        '<Relationship Id="texts" Target="sharedStrings.xml" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"/></Relationships>'
    )

    def change(name, xml):
        if name.startswith("xl/worksheets/"):
            return _INLINE.sub(shared, xml)
        if name == "[Content_Types].xml":
            return xml.replace(
                "</Types>", f'<Override PartName="/xl/sharedStrings.xml" {_TEXTS_TYPE}/></Types>'
            )
        return xml.replace("</Relationships>", relation) if name == "xl/_rels/workbook.xml.rels" else xml

    changed = with_parts_changed(data, change)
    out = io.BytesIO(changed)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as book:
        items = "".join(f"<si>{text}</si>" for text in texts)
        space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
        book.writestr("xl/sharedStrings.xml", f'<sst xmlns="{space}">{items}</sst>')
    return out.getvalue()


def with_parts_changed(data, change):
    """A workbook with each of its parts rewritten."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(name, old.read(name).decode()))
    return out.getvalue()


def as_parquet(frame, table, *, typed=True):
    """Numbers, dates and dictionary columns where a column allows it, texts elsewhere."""
    known, arrays = kinds(table), []
    for at, name in enumerate(frame.columns):
        kind, column = known.get(name, "text"), list(frame.iloc[:, at])
        values = [value(text, kind) for text in column] if typed else column
        if any(isinstance(v, str) for v in values):
            values = [None if v is None else text for v, text in zip(values, column, strict=True)]
        array = pa.array(values)
        arrays.append(array.cast(pa.string()).dictionary_encode() if typed and kind == "category" else array)
    data = io.BytesIO()
    pq.write_table(pa.table(arrays, names=list(frame.columns)), data)
    return data.getvalue()


def shuffled(frame, rng):
    """Rows and columns in another order."""
    return frame.iloc[rng.permutation(len(frame)), rng.permutation(frame.shape[1])]


def rng(seed=0):
    return np.random.default_rng(seed)
