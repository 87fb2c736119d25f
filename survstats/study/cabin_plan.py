"""Which layouts of a cabin are refused, and what does a layout say once it agrees with itself?"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import partial

from survstats.effects.cabin_layout import Layout, Zone
from survstats.groundwork.errors import StudyFileError
from survstats.study.plan_sections import CabinPlan

MOST_SEATS, MOST_ZONES = 6, 8
_EXIT = re.compile(r"([0-9]{1,2}) ?([LR])")


def layouts(cabins: Mapping[str, CabinPlan]) -> tuple[Layout, ...]:
    """The cabins of which a map can be drawn, in the order of the study file; those with rows alone have none."""
    return tuple(
        Layout(
            aircraft_class=name,
            rows=cabin.rows,
            seats=" ".join(cabin.seats.split()),
            exits=tuple(sorted(_exit(one) for one in cabin.exits)),
            zones=tuple(
                Zone(zone, rows[0], rows[1])
                for zone, rows in sorted(cabin.zones.items(), key=lambda entry: entry[1][0])
            ),
        )
        for name, cabin in cabins.items()
        if cabin.seats
    )


def cabin_refusals(
    cabins: Mapping[str, CabinPlan],
) -> list[tuple[tuple[str | int, ...], Callable[[], None]]]:
    """What of each cabin is to be tried, and under which key of the study file a fault stands."""
    return [
        (("cabin", name, key), partial(refuse, cabin))
        for name, cabin in cabins.items()
        for key, refuse in (("seats", refuse_seats), ("exits", refuse_exits), ("zones", refuse_zones))
    ]


def refuse_seats(cabin: CabinPlan) -> None:
    """Refuse seats that are no letters L, C and R from left to right, or that lack zones to be told by.

    Raises
    ------
    StudyFileError
        ``bad_seats``, ``no_zones``.
    """
    if not cabin.seats:
        return
    letters = "".join(cabin.seats.split())
    in_order = "".join(sorted(letters, key="LCR".find)) == letters
    if not set(letters) <= set("LCR") or not in_order or len(letters) > MOST_SEATS:
        raise StudyFileError(
            "bad_seats",
            f"the seats across a row cannot be '{cabin.seats}'.",
            f"Write at most {MOST_SEATS} letters L, C and R from left to right, "
            'with a space for an aisle: "L R" or "LL RR".',
        )
    if not cabin.zones:
        raise StudyFileError(
            "no_zones",
            "seats are laid out but no zones are named.",
            "Add zones, such as zones = {front = [1, 1], " + f"rear = [2, {max(cabin.rows, 2)}]" + "}.",
        )


def refuse_exits(cabin: CabinPlan) -> None:
    """Refuse exits that are no row and side of this cabin, or named twice.

    Raises
    ------
    StudyFileError
        ``no_seats``, ``bad_exit``, ``exit_twice``.
    """
    if not cabin.exits:
        return
    _refuse_without_seats(cabin, "exits")
    for at, text in enumerate(cabin.exits):
        found = _EXIT.fullmatch(text)
        if found is None or not 1 <= int(found[1]) <= cabin.rows:
            raise StudyFileError(
                "bad_exit",
                f"there is no exit '{text}' in a cabin of {cabin.rows} rows.",
                f'Write a row from 1 to {cabin.rows} and a side, L or R: "1L".',
            )
        if _exit(text) in [_exit(one) for one in cabin.exits[:at]]:
            raise StudyFileError("exit_twice", f"the exit '{text}' is named twice.", "Name it once.")


def refuse_zones(cabin: CabinPlan) -> None:
    """Refuse zones unless each row of the cabin stands in exactly one.

    Raises
    ------
    StudyFileError
        ``no_seats``, ``too_many_zones``, ``zone_spaced``, ``zone_backwards``, ``zone_outside``, ``row_twice``,
        ``row_without_zone``.
    """
    if not cabin.zones:
        return
    _refuse_without_seats(cabin, "zones")
    if len(cabin.zones) > MOST_ZONES:
        raise StudyFileError(
            "too_many_zones",
            f"{len(cabin.zones)} zones are named; at most {MOST_ZONES} may be.",
            "Join rows into fewer zones: small zones hold too few people.",
        )
    owner: dict[int, str] = {}
    for name, (first, last) in cabin.zones.items():
        if name != name.strip():
            raise StudyFileError(
                "zone_spaced",
                f"the name of the zone '{name}' begins or ends with a space.",
                f"Write '{name.strip() or 'front'}'.",
            )
        if first > last:
            raise StudyFileError(
                "zone_backwards",
                f"the zone '{name}' ends in row {last}, before its first, {first}.",
                f"Write {name} = [{last}, {first}].",
            )
        if last > cabin.rows:
            raise StudyFileError(
                "zone_outside",
                f"the zone '{name}' reaches row {last}; the cabin has {cabin.rows}.",
                f"Let the last zone end in row {cabin.rows}, or correct rows.",
            )
        for row in range(first, last + 1):
            if row in owner:
                raise StudyFileError(
                    "row_twice",
                    f"row {row} stands in the zones '{owner[row]}' and '{name}'.",
                    "Let each row stand in one zone.",
                )
            owner[row] = name
    for row in range(1, cabin.rows + 1):
        if row not in owner:
            raise StudyFileError(
                "row_without_zone",
                f"row {row} stands in no zone.",
                "Let zones cover all rows, from 1 to the last.",
            )


def _refuse_without_seats(cabin: CabinPlan, key: str) -> None:
    if not cabin.seats:
        raise StudyFileError(
            "no_seats",
            f"{key} are named, but not which seats stand in a row.",
            'Add seats, the letters across a row with a space for an aisle: seats = "L R".',
        )


def _exit(text: str) -> tuple[int, str]:
    """Row and side of an exit that has been tried."""
    found = _EXIT.fullmatch(text)
    assert found is not None  # noqa: S101  (refuse_exits has tried it)
    return int(found[1]), found[2]
