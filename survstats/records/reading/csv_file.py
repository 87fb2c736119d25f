"""Which texts stand in a CSV file, and in which encoding and with which separator was it written?"""

from __future__ import annotations

import codecs
import csv
import io
import itertools
import re
from collections import Counter
from collections.abc import Collection, Iterator
from sys import intern

from survstats.groundwork.errors import RecordsError
from survstats.records.finding import Finding
from survstats.records.reading.grid import SAVE_AGAIN, Grid, header_and_lines

_NOT_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
_UTF8_LETTER = re.compile(rb"[\xc3-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}")
_STATED = re.compile(r'"?sep=([^"\r\n])"?[^\S\r\n]*(?:\r\n?|\n)', re.IGNORECASE)
_SETTLE = "Save the table as CSV (comma separated, UTF-8), or settle it by encoding in mapping.toml."
_SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "vertical bars"}
_TRIED_LINES = 20


def read_csv(
    data: bytes,
    file: str,
    *,
    names: Collection[str] = (),
    encoding: str | None = None,
    delimiter: str | None = None,
) -> Grid:
    """The cells of a CSV file with one header row.

    Parameters
    ----------
    data : bytes
        The file.
    file : str
        Its name.
    names : collection of str
        Names that columns are likely to have; they tell the separator.
    encoding, delimiter : str, optional
        Where they are known; else they are found out, and a finding F9 says so if they are not UTF-8 and comma.

    Raises
    ------
    RecordsError
        ``binary_file``, ``unknown_encoding``, ``undecodable``, ``utf16_without_mark``, ``not_csv``, ``long_cell`` and
        those of `header_and_lines`.
    """
    text, said = _decoded(data, file, encoding)
    stated = _STATED.match(text)
    if stated:
        said.append(f"a first line that states {_SEPARATORS.get(stated[1], stated[1])}")
        delimiter = delimiter or stated[1]
        text = "\n" + text[stated.end() :]
    if _NOT_TEXT.search(text):
        raise RecordsError("binary_file", f"{file} is not a text file.", SAVE_AGAIN)
    separator = delimiter or _separator(text, names)
    if separator != "," and delimiter is None:
        said.append(f"{_SEPARATORS[separator]} between the cells")
    header, lines, rows = header_and_lines(_lines(text, separator, file), file, said)
    findings: tuple[Finding, ...] = ()
    if said:
        findings = (
            Finding("F9", "statement", file, None, "", " and ".join(said), "", "the file was read so"),
        )
    columns = dict(zip(header, zip(*lines, strict=True), strict=True))
    return Grid(file, columns, tuple(rows), findings, comma_separated=separator == ",")


def _decoded(data: bytes, file: str, encoding: str | None) -> tuple[str, list[str]]:
    """The text, and what must be said of how it was decoded."""
    if encoding is not None:
        try:
            codecs.lookup(encoding)
        except LookupError as error:
            raise RecordsError(
                "unknown_encoding", f"There is no encoding {encoding}.", "Write utf-8 or windows-1252."
            ) from error
        return _strictly(data, encoding, file).removeprefix("\ufeff"), []
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _strictly(data, "utf-16", file), ["text in UTF-16"]
    _refuse_utf16_without_mark(data, file)
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        if _UTF8_LETTER.search(data):
            raise _undecodable(data, error.start, file, "is not UTF-8, though others are", _SETTLE) from error
    return _strictly(data, "windows-1252", file, _SETTLE), ["text in Windows-1252"]


def _refuse_utf16_without_mark(data: bytes, file: str) -> None:
    """Every second byte is nought where Latin letters are written in UTF-16."""
    start = data[:4096]
    for first, name in ((1, "utf-16-le"), (0, "utf-16-be")):
        if (
            len(start) > 3
            and start[first::2].count(0) > 0.7 * len(start[first::2])
            and 0 not in start[1 - first :: 2]
        ):
            raise RecordsError(
                "utf16_without_mark",
                f"{file} is text in UTF-16 without the mark that should begin it.",
                f"Save it as UTF-8, or write encoding = '{name}' in mapping.toml.",
            )


def _strictly(data: bytes, encoding: str, file: str, remedy: str = SAVE_AGAIN) -> str:
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        raise _undecodable(
            data, error.start, file, f"cannot be read as {encoding.upper()}", remedy
        ) from error
    except (UnicodeError, LookupError) as error:
        raise RecordsError("undecodable", f"{file} cannot be read as {encoding}.", SAVE_AGAIN) from error
    return text


def _undecodable(data: bytes, at: int, file: str, what: str, remedy: str) -> RecordsError:
    row = data[:at].count(b"\n") + 1
    return RecordsError("undecodable", f"{file}, row {row}, holds a character that {what}.", remedy)


def _separator(text: str, names: Collection[str]) -> str:
    """The separator that gives the header most known names; else the one that cuts the first lines evenly."""
    best, most = ",", (0, 0)
    for separator in _SEPARATORS:
        lines = _first_lines(text, separator)
        if not lines:
            continue
        known = sum(cell in names for cell in lines[0])
        width, agreeing = Counter(len(line) for line in lines).most_common(1)[0]
        even = width if width > 1 and agreeing == len(lines) and len(lines[0]) == width else 0
        if (known, even) > most:
            best, most = separator, (known, even)
    return best


def _first_lines(text: str, separator: str) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    lines = ([cell.strip() for cell in line] for line in reader)
    try:
        return list(itertools.islice((line for line in lines if any(line)), _TRIED_LINES))
    except csv.Error:
        return []


def _lines(text: str, separator: str, file: str) -> Iterator[tuple[int, list[str]]]:
    row = 0
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        for row, line in enumerate(reader, start=1):
            yield row, list(map(intern, map(str.strip, line)))
    except csv.Error as error:
        raise _no_csv(error, file, row + 1) from error
    except TypeError as error:
        raise RecordsError(
            "not_csv", f"{separator!r} cannot stand between cells.", "Write one character."
        ) from error


def _no_csv(error: csv.Error, file: str, row: int) -> RecordsError:
    place, why = f"{file}, row {row}", str(error)
    if "field limit" in why:
        largest = f"{csv.field_size_limit():,}"
        return RecordsError(
            "long_cell",
            f"{place}, holds a cell of more than {largest} characters.",
            "Shorten it, or look there for a quotation mark that is not closed.",
        )
    if "unexpected end of data" in why:
        return RecordsError("not_csv", f"{place}: a quotation mark is not closed.", "Close or delete it.")
    return RecordsError("not_csv", f"{place}, is not proper CSV ({why}).", SAVE_AGAIN)
