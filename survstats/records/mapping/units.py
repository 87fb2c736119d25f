"""How much is a number of one unit in another?

Exact decimal arithmetic: 30 ft are 9.144 m, not 9.1440000000000001 m.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Context, Decimal

from survstats.groundwork.errors import CallError

SIGNIFICANT_DIGITS = 6
_ROUNDED = Context(prec=SIGNIFICANT_DIGITS)
_MONTH_S = Decimal("30.4375") * 86400  # a twelfth of a year of 365.25 days, as in `deriving`


@dataclass(frozen=True)
class Unit:
    """A unit as a multiple of its quantity's first one: ``first = (number + shift) * factor``."""

    quantity: str
    factor: Decimal
    shift: Decimal = Decimal(0)


# foot, inch, mile, nautical mile and knot are exact by definition (BIPM, The International System of Units, 2019;
# international yard and pound agreement, 1959)
UNITS = {
    "m": Unit("length", Decimal(1)),
    "cm": Unit("length", Decimal("0.01")),
    "km": Unit("length", Decimal(1000)),
    "ft": Unit("length", Decimal("0.3048")),
    "in": Unit("length", Decimal("0.0254")),
    "NM": Unit("length", Decimal(1852)),
    "m/s": Unit("speed", Decimal(1)),
    "km/h": Unit("speed", 1 / Decimal("3.6")),
    "kt": Unit("speed", Decimal(1852) / 3600),
    "mph": Unit("speed", Decimal("0.44704")),
    "degC": Unit("temperature", Decimal(1)),
    "degF": Unit("temperature", Decimal(5) / 9, Decimal(-32)),
    "K": Unit("temperature", Decimal(1), Decimal("-273.15")),
    "s": Unit("time", Decimal(1)),
    "min": Unit("time", Decimal(60)),
    "h": Unit("time", Decimal(3600)),
    "days": Unit("time", Decimal(86400)),
    "weeks": Unit("time", Decimal(7 * 86400)),
    "months": Unit("time", _MONTH_S),
    "years": Unit("time", 12 * _MONTH_S),
}
_IN_CODEBOOK = {"degrees Celsius": "degC"}


def unit_of(codebook_unit: str) -> str:
    """Our word for a unit of the codebook; empty where it counts things (people, exits)."""
    name = _IN_CODEBOOK.get(codebook_unit, codebook_unit)
    return name if name in UNITS else ""


def units_like(name: str) -> list[str]:
    """All units of the same quantity."""
    return [other for other, unit in UNITS.items() if unit.quantity == UNITS[name].quantity]


def converted(number: Decimal, unit: str, *, to: str) -> Decimal:
    """The same amount in another unit, to at most six significant digits; untouched where the unit is the same.

    Raises
    ------
    CallError
        ``unknown_unit``, or ``other_quantity`` where one cannot be told in the other.
    """
    for name in (unit, to):
        if name not in UNITS:
            raise CallError("unknown_unit", f"There is no unit {name}.", f"Known: {', '.join(UNITS)}.")
    given, wanted = UNITS[unit], UNITS[to]
    if given.quantity != wanted.quantity:
        raise CallError("other_quantity", f"{unit} measures {given.quantity}, {to} {wanted.quantity}.")
    if unit == to:
        return number
    return rounded((number + given.shift) * given.factor / wanted.factor - wanted.shift)


def half_of_last_place(number: Decimal) -> Decimal:
    """Half a unit of the last place in which a number is written: 0.5 of 28, 0.05 of 28.0."""
    return Decimal("0.5").scaleb(int(number.as_tuple().exponent))


def rounded(number: Decimal) -> Decimal:
    """A number to at most six significant digits."""
    return _ROUNDED.plus(number)


def decimal_text(number: Decimal) -> str:
    """A number as our files write it: a decimal point, no exponent, no zeros at the end."""
    text = format(number, "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text
