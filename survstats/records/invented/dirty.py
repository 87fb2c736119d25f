"""How are the small studies made that break one rule each, with their passing twins?"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Mapping
from itertools import cycle
from pathlib import Path

from survstats.records.codebook import load_codebook
from survstats.records.invented.dirty_cases import CASES, DirtyCase, Form

Row = dict[str, str]
MAPPING_FILE = "mapping.toml"
Tables = dict[str, list[Row]]

_MISHAP = {
    "mishap_id": "",
    "event_date": "",
    "aircraft_class": "A_twin_2c8p",
    "n_crew": "1",
    "n_pax": "2",
    "n_aboard": "3",
    "impact_survivability": "survivable",
    "immersion_type": "capsized_afloat",
    "status_ascertained_by": "roster_all",
}
_TRAINED = {
    "training_ever": "yes",
    "training_type": "underwater_escape",
    "training_last_date": "2014-06-20",
    "training_evidence": "certificate",
}
_UNTRAINED = {
    "training_ever": "no",
    "training_type": "none",
    "training_last_date": "na",
    "training_evidence": "roster",
}
_LIVED = {
    "alive_at_immersion": "yes",
    "egress_outcome": "self",
    "outcome": "survived",
    "injury_class_icao": "minor",
    "days_to_death": "",
    "cause_of_death": "na",
}
_DROWNED = {
    "alive_at_immersion": "yes",
    "egress_outcome": "not_egressed",
    "outcome": "died",
    "injury_class_icao": "fatal",
    "days_to_death": "0",
    "cause_of_death": "drowning_inside",
}
_RUN = {
    "person_code": "T-001",
    "run_date": "2019-05-06",
    "run_no": "",
    "course": "initial",
    "months_since_last": "na",
    "posture": "inverted",
    "time_out_s": "14",
    "result": "passed",
}
_STUDY_FILE = """\
# Invented: these people and mishaps never existed.
title = "A study that {does} rule {rule}"
place = "the Vesper Shelf (invented)"
invented = true

[question]
currency_months = 24
smallest_worthwhile_points = 5

[model]
covariates = ["role"]
"""
_README = """\
Everything in this folder is invented: no person, mishap, operator or place in it exists.

For each rule there is a small study that breaks it (`fails`) and one that nearly does (`passes`). `planted.csv` names
the file, row and column of every finding that belongs there. Statements inform and break nothing.
"""
_THEIRS = {"aircraft_class": "Type", "flight_phase": "Phase", "water_temp_c": "Water"}
_READ_AS = {
    "flight_phase": 'codes = { CRZ = "cruise" }',
    "water_temp_c": 'unit = "degF"',
    "aircraft_class": 'codes = { TWIN = "A_twin_2c8p" }',
}
_NEVER_CHANGES = (1980, 1, 1, 0, 0, 0)


def write_dirty(folder: Path) -> None:
    """Write every failing study and its passing twin below a folder, the list of what was planted, and a warning."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "README.md").write_bytes(_README.encode())
    lines: list[tuple[str, ...]] = [("rule", "study", "file", "row", "field")]
    for case in CASES:
        for twin in ("fails", "passes"):
            study = folder / case.rule / twin
            study.mkdir(parents=True, exist_ok=True)
            for name, data in _files(case, failing=twin == "fails").items():
                (study / name).write_bytes(data)
        lines += [(case.rule, f"{case.rule}/fails", *place) for place in _places(case)]
    (folder / "planted.csv").write_bytes(_csv(lines, ","))


def _files(case: DirtyCase, *, failing: bool) -> Mapping[str, bytes]:
    form = case.form if failing else case.twin_form or case.form
    tables = _changed(_clean(case, form), case.fails if failing else case.passes)
    text = _STUDY_FILE.format(does="breaks" if failing else "keeps", rule=case.rule) + case.study
    files = {"study.toml": text.encode()}
    if form in ("sheets", "roster"):
        return files | {"records.xlsx": _workbook(tables)}
    if form in ("mapped", "wide"):
        own = case.mapping if failing or case.twin_mapping is None else case.twin_mapping
        files[MAPPING_FILE] = _mapping(tables, own).encode()
    for name, rows in tables.items():
        files[f"{name}.csv"] = _csv(_lines(rows), ";" if form == "semicolon" else ",")
    return files


def _clean(case: DirtyCase, form: Form) -> Tables:
    """The clean study: in each mishap two of three live; the trained and the untrained are among both."""
    mishaps, people = [], []
    for k in range(1, case.mishaps + 1):
        key = f"VS-{k:03d}"
        mishaps.append(_MISHAP | {"mishap_id": key, "event_date": f"{2014 + k}-06-20"})
        second, third = (_TRAINED, _UNTRAINED) if k % 2 else (_UNTRAINED, _TRAINED)
        for i, (training, fate) in enumerate(
            ((_TRAINED, _LIVED), (second, _LIVED), (third, _DROWNED)), start=1
        ):
            place = {"seat_row": str((i + 2) // 2), "seat_side": "R" if i == 3 else "L"}
            role = "flight_crew" if i == 1 else "passenger"
            people.append(
                {"mishap_id": key, "occupant_id": str(i), "role": role, **place, **training, **fate}
            )
    if form == "wide":
        crew = {"n_crew": "", "n_pax": "", "n_aboard": ""}
        home = {row["mishap_id"]: {k: v for k, v in row.items() if k not in crew} for row in mishaps}
        return {"wide": [home[row["mishap_id"]] | {"light": "day"} | row for row in people]}
    if form == "mapped":
        theirs = {"aircraft_class": "TWIN", "flight_phase": "CRZ", "water_temp_c": "50", "Remarks": "none"}
        mishaps = [{_THEIRS.get(k, k): v for k, v in (row | theirs).items()} for row in mishaps]
    tables = {"mishap": mishaps, "occupant": people}
    if form == "roster":
        asked = {f.name for f in load_codebook().occupant if f.roster}
        keys = ("mishap_id", "occupant_id")
        tables["roster"] = [{k: v for k, v in row.items() if k in asked} for row in people]
        tables["occupant"] = [{k: v for k, v in row.items() if k not in asked or k in keys} for row in people]
    if case.rule.startswith("T"):
        tables["training_run"] = [_RUN | {"run_no": str(i)} for i in (1, 2, 3)]
    return tables


def _changed(tables: Tables, changes: str) -> Tables:
    removed: list[tuple[str, int]] = []
    for change in filter(None, changes.split(" | ")):
        table, row, what = change.split(" ", 2)
        if what == "-":
            removed.append((table, int(row)))
            continue
        field, _, text = what.partition("=")
        texts = cycle(text.split("/")) if row == "*" else cycle([text])
        for at, entry in enumerate(tables[table], start=2):
            entry.setdefault(field, "")
            if str(at) == row or (row == "*" and entry["outcome"] == "survived"):
                entry[field] = next(texts)
    for table, at in removed:
        del tables[table][at - 2]
    return tables


def _places(case: DirtyCase) -> list[tuple[str, str, str]]:
    """File, row and field of each finding; an empty text where there is none."""
    planted = case.planted or case.fails.split(" | ")[0].partition("=")[0]
    places = []
    for place in planted.split(" | "):
        table, row, field = place.split(" ", 2)
        sheet = case.form in ("sheets", "roster")
        file = f"records.xlsx, sheet {table}" if sheet else f"{table}.csv"
        file = MAPPING_FILE if table == "mapping" else file
        places.append((file, row.strip("-"), field.strip("-")))
    return places


def _mapping(tables: Tables, more: str) -> str:
    ours = {theirs: name for name, theirs in _THEIRS.items()}
    parts = ['# Invented, as the records are.\nchecked_by = "nobody: invented"\n']
    wide = "wide" in tables
    for table in ("mishap", "occupant") if wide else ("mishap",):
        names = {f.name for f in load_codebook().table("mishap" if table == "mishap" else "occupant")}
        parts.append(
            f'\n[{table}]\nfile = "{"wide" if wide else table}.csv"\n' + (f"{more}\n" if more else "")
        )
        for column in tables["wide" if wide else table][0]:
            name = ours.get(column, column)
            if name in names and not re.search(rf'collected.*"{name}"|date_column = "{name}"', more):
                how = f"\n{_READ_AS[name]}" if column in ours else ""
                parts.append(f'\n[{table}.fields.{name}]\ncolumn = "{column}"{how}\n')
        if wide and table == "mishap":
            parts += [
                f"\n[mishap.fields.{name}]\ncounted = true\n" for name in ("n_crew", "n_pax", "n_aboard")
            ]
    return "".join(parts)


def _lines(rows: list[Row]) -> list[tuple[str, ...]]:
    columns = tuple(rows[0]) if rows else ()
    return [columns, *(tuple(row[column] for column in columns) for row in rows)]


def _csv(lines: list[tuple[str, ...]], delimiter: str) -> bytes:
    file = io.StringIO()
    csv.writer(file, delimiter=delimiter, lineterminator="\n").writerows(lines)
    return file.getvalue().encode()


def _workbook(tables: Tables) -> bytes:
    """A workbook whose bytes do not depend on when it is written."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.worksheets[0])
    for name, rows in tables.items():
        sheet = book.create_sheet(name)
        for line in _lines(rows):
            sheet.append(line)
    written, kept = io.BytesIO(), io.BytesIO()
    book.save(written)
    with zipfile.ZipFile(written) as source, zipfile.ZipFile(kept, "w") as target:
        for name in source.namelist():
            data = source.read(name)
            if name == "docProps/core.xml":
                data = re.sub(rb"\d{4}-\d\d-\d\dT[0-9:]+Z", b"2026-11-24T00:00:00Z", data)
            target.writestr(zipfile.ZipInfo(name, _NEVER_CHANGES), data)
    return kept.getvalue()
