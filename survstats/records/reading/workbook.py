"""Which sheets does an XLSX file hold, and what are its shared texts and date formats?"""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import IO
from xml.parsers import expat

from openpyxl.styles.numbers import BUILTIN_FORMATS, is_date_format, is_timedelta_format

from survstats.groundwork.errors import RecordsError

LARGEST_BYTES = 2 * 1024**3
_ESCAPE = re.compile(r"_x(?!D[89A-F])([0-9A-F]{4})_", re.IGNORECASE)  # a half of a pair is no character
_MAIN = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main",
    "http://purl.oclc.org/ooxml/spreadsheetml/main",
)
DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    expat.ExpatError,
    EOFError,
    OSError,
    KeyError,
    IndexError,
    ValueError,
    NotImplementedError,
    RuntimeError,
)
"""What damaged bytes make the libraries raise; RuntimeError is zipfile's word for a locked entry."""


@dataclass(frozen=True)
class Workbook:
    """An open XLSX file.

    Attributes
    ----------
    file : str
        Its name.
    archive : ZipFile
    parts : dict of str to str
        Name of the part inside the archive, by sheet, in the workbook's order.
    texts : tuple of str
        The texts that cells refer to by number.
    times : dict of int to str
        ``"date"`` or ``"duration"`` for each cell style that shows one.
    from_1904 : bool
        Whether days are counted from 1904.
    """

    file: str
    archive: zipfile.ZipFile
    parts: dict[str, str]
    texts: tuple[str, ...]
    times: dict[int, str]
    from_1904: bool


def open_workbook(data: bytes, file: str) -> Workbook:
    """The workbook, its sheets not yet read.

    Raises
    ------
    RecordsError
        ``bad_workbook`` where the file is damaged, locked or no workbook, ``too_large`` where it would unpack to more
        than 2 GB.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        if sum(entry.file_size for entry in archive.infolist()) > LARGEST_BYTES:
            raise RecordsError(
                "too_large", f"{file} unpacks to more than 2 GB.", "Save the records as CSV or Parquet."
            )
        main = next(t for kind, t in _relations(archive, "").values() if kind.endswith("/officeDocument"))
        relations = _relations(archive, main)
        sheets, from_1904 = _sheets(archive, main)
        by_kind = {kind.rpartition("/")[2]: target for kind, target in relations.values()}
        return Workbook(
            file=file,
            archive=archive,
            parts={name: relations[key][1] for name, key in sheets.items()},
            texts=_shared_texts(archive, by_kind.get("sharedStrings")),
            times=_times(archive, by_kind.get("styles")),
            from_1904=from_1904,
        )
    except StopIteration as error:
        raise damaged(file) from error
    except DAMAGE as error:
        raise damaged(file) from error


def damaged(file: str) -> RecordsError:
    """What is said of an XLSX file that cannot be read."""
    return RecordsError(
        "bad_workbook", f"{file} is no sound XLSX workbook.", "Save it again as XLSX, without a password."
    )


def plain_name(name: str) -> str:
    """The name of an element of a sheet without its namespace; elements of other namespaces keep it."""
    space, _, local = name.rpartition(" ")
    return local if not space or space in _MAIN else name


def unescaped(text: str) -> str:
    """A text with the characters that XLSX writes as ``_xHHHH_``."""
    return _ESCAPE.sub(lambda found: chr(int(found[1], 16)), text) if "_x" in text else text


def parse(stream: IO[bytes], prepare: Callable[[expat.XMLParserType], None]) -> Iterator[None]:
    """Feed a part of the archive through a parser, piece by piece; a document type is refused (ValueError)."""
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True

    def refuse(*_: object) -> None:
        raise ValueError("a document type has no place in a workbook")

    parser.StartDoctypeDeclHandler = refuse
    prepare(parser)
    while piece := stream.read(1 << 20):
        parser.Parse(piece, False)
        yield
    parser.Parse(b"", True)
    yield


def _elements(archive: zipfile.ZipFile, part: str) -> list[tuple[str, dict[str, str]]]:
    """Every element of a small part, in order: its local name and its attributes."""
    found: list[tuple[str, dict[str, str]]] = []

    def prepare(parser: expat.XMLParserType) -> None:
        parser.StartElementHandler = lambda name, values: found.append((name.rpartition(" ")[2], values))

    with archive.open(part) as stream:
        for _ in parse(stream, prepare):
            pass
    return found


def _relations(archive: zipfile.ZipFile, part: str) -> dict[str, tuple[str, str]]:
    """Kind and target of each relation of a part, by its key."""
    folder, name = posixpath.split(part)
    found = {}
    for _, values in _elements(archive, posixpath.join(folder, "_rels", name + ".rels")):
        if "Id" in values:
            target = posixpath.normpath(posixpath.join("/" + folder, values["Target"])).lstrip("/")
            found[values["Id"]] = values["Type"], target
    return found


def _sheets(archive: zipfile.ZipFile, main: str) -> tuple[dict[str, str], bool]:
    sheets, from_1904 = {}, False
    for name, values in _elements(archive, main):
        if name == "sheet":
            key = next(value for space, value in values.items() if space.endswith("relationships id"))
            sheets[values["name"]] = key
        elif name == "workbookPr":
            from_1904 = values.get("date1904") in ("1", "true")
    return sheets, from_1904


def _times(archive: zipfile.ZipFile, part: str | None) -> dict[int, str]:
    """Which cell styles show a date or a duration."""
    if part is None:
        return {}
    formats, styles, inside = dict(BUILTIN_FORMATS), [], False
    for name, values in _elements(archive, part):
        if name == "numFmt" and "numFmtId" in values:
            formats[int(values["numFmtId"])] = values.get("formatCode", "")
        elif name in ("cellXfs", "cellStyleXfs", "cellStyles", "dxfs"):
            inside = name == "cellXfs"
        elif name == "xf" and inside:
            styles.append(formats.get(int(values.get("numFmtId", "0")), ""))
    kinds = ["duration" if is_timedelta_format(f) else "date" if is_date_format(f) else "" for f in styles]
    return {at: kind for at, kind in enumerate(kinds) if kind}


def _shared_texts(archive: zipfile.ZipFile, part: str | None) -> tuple[str, ...]:
    """The texts of the archive's table of texts; phonetic guides are left out."""
    if part is None:
        return ()
    texts: list[str] = []
    pieces: list[str] = []
    aside: list[str] = []

    def prepare(parser: expat.XMLParserType) -> None:
        def start(name: str, _values: dict[str, str]) -> None:
            local = plain_name(name)
            if local == "rPh":
                aside.append(name)
            elif local == "t" and not aside:
                parser.CharacterDataHandler = pieces.append

        def end(name: str) -> None:
            parser.CharacterDataHandler = None
            local = plain_name(name)
            if local == "rPh":
                aside.pop()
            elif local == "si":
                texts.append(unescaped("".join(pieces)).strip())
                pieces.clear()

        parser.StartElementHandler, parser.EndElementHandler = start, end

    with archive.open(part) as stream:
        for _ in parse(stream, prepare):
            pass
    return tuple(texts)
