"""From where in the cabin did people get out: the map, its shares with intervals, and seats held against each other?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from survstats.report.annex.content import AnnexBlock, AnnexSection, Picture
from survstats.report.annex.tables import (
    Row,
    coded,
    named_list,
    refused,
    section,
    some,
    table_rows,
    tabled,
    texts,
    why,
    with_interval,
)
from survstats.report.cabin_map import CabinMapFigure, MapCabin, MapCell
from survstats.report.content import Piece, Text
from survstats.report.lettering import join, legible
from survstats.report.wording import Wording
from survstats.study.results import StudyResults

_COUNTED = ("fate_unknown", "seat_unknown", "outside", "no_layout")
_UNKNOWN = ("out", "far_seat", "seats_to_exit", "seat_facing", "seat_side")


def cabin(results: StudyResults, words: Wording) -> AnnexSection:
    """The cabin map with its table, places held against each other, and what neither can carry."""
    drawn, told = _map(results, words), _position(results, words)
    if "cabin_zones" not in results.tables and "position" not in results.tables:
        reasons = [why(words, results, name) for name in ("cabin_zones", "position")]
        return section(words, "cabin", AnnexBlock((), join(*dict.fromkeys(reasons))), lead=None)
    cautions = AnnexBlock(
        (), (), items=texts(words, *(f"annex.cabin.{key}" for key in ("by_lot", "free", "unlike")))
    )
    return section(words, "cabin", drawn, _zones(results, words), told, cautions)


# ---- the map -----------------------------------------------------------------------------------


def _map(results: StudyResults, words: Wording) -> AnnexBlock | None:
    picture = cabin_picture(results, words)
    if picture is None:
        return refused(words, results, "cabin_zones") if "cabin_zones" in results.absent else None
    spread = f"annex.cabin.spread_{results.codes.get('cabin.spread')}"
    left_out = (f"annex.cabin.{name}" for name in _COUNTED if some(results, f"cabin.{name}"))
    items = texts(words, "annex.cabin.placed", *left_out, spread)
    if unused := results.lists.get("cabin.unused"):
        items = (*items, named_list(words, "annex.cabin.unused", unused, "cabin.unused"))
    return AnnexBlock(
        words.say("annex.cabin.map.title"), words.say("annex.cabin.map.lead"), picture, None, items
    )


def cabin_picture(results: StudyResults, words: Wording) -> Picture | None:
    """The cabin map: a cabin for each class that the study file lays out; None where it lays out none."""
    cabins = tuple(_cabins(results, words))
    if not cabins:
        return None
    filled = "filled_alike" if _alike(results) else "filled"
    keys = {"filled": filled, "hatched": "hatched", "exit": "exit"}
    figure = CabinMapFigure(
        cabins=cabins,
        title=words.say("annex.cabin.map.title"),
        **{f"key_{name}": words.say(f"annex.cabin.figure.{key}") for name, key in keys.items()},
        alt=words.say("annex.cabin.figure.alt"),
    )
    return Picture("cabin", figure)


def _cabins(results: StudyResults, words: Wording) -> Iterator[MapCabin]:
    exits = table_rows(results, "cabin_exits")
    shown = list(zip(table_rows(results, "cabin_layout"), table_rows(results, "cabin_zones"), strict=True))
    for at, row in enumerate(table_rows(results, "cabin_classes")):
        inside = [(number, *pair) for number, pair in enumerate(shown) if pair[0]["cabin"] == at + 1]
        yield MapCabin(
            name_text=_name(words, f"cabin_classes.{at}.class", str(row["class"])),
            whole_text=words.say("annex.cabin.figure.all", row=f"cabin_classes.{at}"),
            seats=str(inside[0][1]["seats"]),
            rows=_whole(inside[0][1]["rows"]),
            exits=tuple((_whole(one["row"]), str(one["side"])) for one in exits if one["cabin"] == at + 1),
            cells=tuple(
                _cell(words, place, row, f"cabin_zones.{number}", alike=_alike(results))
                for number, place, row in inside
            ),
        )


def _alike(results: StudyResults) -> bool:
    """Whether every place of a class has the same shrunken share, which then says nothing of the place."""
    return results.codes.get("cabin.spread") == "none_seen"


def _cell(
    words: Wording, place: dict[str, object], row: dict[str, object], name: str, *, alike: bool
) -> MapCell:
    share, out = row["shrunken"], row["out"]
    return MapCell(
        side=str(place["side"]),
        zone=str(row["zone"]),
        first=_whole(place["first_row"]),
        last=_whole(place["last_row"]),
        people=_whole(row["occupants"]),
        out=None if out is None else _whole(out),
        share=float(share) if isinstance(share, int | float) else None,
        name_text=_place(words, row, name),
        count_text=words.say(f"annex.cabin.figure.{'people' if out is None else 'out'}", row=name),
        share_text=() if alike else words.cell(f"{name}.shrunken", "percent"),
    )


def _place(words: Wording, row: dict[str, object], name: str) -> Text:
    """A place: "front, left"."""
    zone = replace(words.slot(f"{name}.zone", "text"), text=legible(str(row["zone"])))
    return (zone, Piece(", "), *coded(words, "annex.cabin.side", str(row["side"])))


def _name(words: Wording, name: str, text: str) -> Text:
    return (replace(words.slot(name, "code"), text=legible(text.replace("_", " "))),)


def _whole(cell: object) -> int:
    """A cell of a stored table that holds a whole number."""
    assert isinstance(cell, int | float)  # noqa: S101  (the study floor stores numbers there)
    return int(cell)


def _zones(results: StudyResults, words: Wording) -> AnnexBlock | None:
    """The places of the map with their shares as counted, the intervals and the shrunken shares."""
    whole = [
        _shares(words, f"cabin_classes.{at}", row, words.say("annex.cabin.zones.whole"))
        for at, row in enumerate(table_rows(results, "cabin_classes"))
    ]
    places = [
        _shares(words, name, row, _place(words, row, name))
        for at, row in enumerate(table_rows(results, "cabin_zones"))
        for name in (f"cabin_zones.{at}",)
    ]
    rows = [*whole, *places]
    heads = ("class", "place", "occupants", "out", "share", "shrunken")
    return tabled(words, "cabin.zones", heads, rows, numbers=heads[2:])


def _shares(words: Wording, name: str, row: dict[str, object], place: Text) -> Row:
    return (
        _name(words, f"{name}.class", str(row["class"])),
        place,
        words.cell(f"{name}.occupants", "count"),
        words.cell(f"{name}.out", "count"),
        with_interval(words, name, "whole_percent", "share") or words.say("annex.not_estimated"),
        words.cell(f"{name}.shrunken", "whole_percent") if "shrunken" in row else (),
    )


# ---- places held against each other ------------------------------------------------------------


def _position(results: StudyResults, words: Wording) -> AnnexBlock | None:
    stored = table_rows(results, "position")
    if not stored:
        return refused(words, results, "position") if "position" in results.absent else None
    rows: list[Row] = [
        (
            _seat(words, row),
            words.cell(f"position.{at}.occupants", "count"),
            words.cell(f"position.{at}.out", "count"),
            words.cell(f"position.{at}.share", "whole_percent"),
            _against(words, at, row),
        )
        for at, row in enumerate(stored)
    ]
    heads = ("place", "occupants", "out", "share", "difference")
    return tabled(words, "position", heads, rows, numbers=heads[1:], items=_about(results, words))


def _seat(words: Wording, row: dict[str, object]) -> Text:
    level = str(row["level"])
    key = f"_{level.replace('+', '_up')}" if row["name"] == "seats_to_exit" else level
    return coded(words, f"annex.position.{row['name']}", key)


def _against(words: Wording, at: int, row: dict[str, object]) -> Text:
    """The difference to the first of its kind; what the first is held against is said in its place."""
    if row["level"] == row["reference"]:
        return words.say("annex.position.reference")
    return with_interval(words, f"position.{at}", "points_bare") or words.say("annex.not_estimated")


def _about(results: StudyResults, words: Wording) -> tuple[Text, ...]:
    """What was held equal, of whom a place is not known, and why a place has no difference."""
    name = "position.held_equal"
    fields = results.lists.get(name, ())
    held = (named_list(words, "annex.position.held", fields, name),) if fields else ()
    unknown = texts(
        words,
        *(f"annex.position.{one}_unknown" for one in _UNKNOWN if some(results, f"position.{one}_unknown")),
    )
    without = tuple(
        (*_seat(words, row), Piece(": "), *why(words, results, f"position/{at}/difference"))
        for at, row in enumerate(table_rows(results, "position"))
        if f"position/{at}/difference" in results.absent
    )
    return (*held, *texts(words, "annex.position.training", "annex.position.each"), *unknown, *without)
