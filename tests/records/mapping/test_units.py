from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survstats.groundwork.errors import CallError
from survstats.records.mapping.units import (
    UNITS,
    converted,
    decimal_text,
    half_of_last_place,
    unit_of,
    units_like,
)

NUMBERS = st.decimals(min_value=-99999, max_value=99999, places=1, allow_nan=False)


@pytest.mark.parametrize(
    ("number", "unit", "to", "expected"),
    [
        ("30", "ft", "m", "9.144"),  # exact: the foot is 0.3048 m (international agreement of 1959)
        ("1", "NM", "m", "1852"),  # exact: International Hydrographic Conference, 1929
        ("60", "in", "cm", "152.4"),
        ("1", "kt", "km/h", "1.852"),  # exact: one nautical mile an hour
        ("10", "m/s", "kt", "19.4384"),  # 36000 / 1852, by hand
        ("100", "mph", "km/h", "160.934"),  # 1 mile is 1609.344 m, exact
        ("50", "degF", "degC", "10"),  # (50 - 32) * 5 / 9
        ("-40", "degF", "degC", "-40"),  # the two scales meet
        ("283.15", "K", "degC", "10"),  # 0 degrees Celsius is 273.15 K, exact
        ("10", "degC", "degF", "50"),
        ("1.5", "min", "s", "90"),
        ("2", "h", "min", "120"),
        ("3", "years", "months", "36"),
        ("2", "weeks", "days", "14"),
        ("12.3456789", "m", "m", "12.3456789"),  # nothing to convert, nothing rounded
    ],
)
def test_amounts_by_definition(number, unit, to, expected):
    assert decimal_text(converted(Decimal(number), unit, to=to)) == expected


@given(NUMBERS, st.sampled_from(sorted(UNITS)), st.data())
def test_there_and_back_is_the_same_to_six_digits(number, unit, data):
    to = data.draw(st.sampled_from(units_like(unit)))
    there = converted(number, unit, to=to)
    back = converted(there, to, to=unit)
    step = (abs(number) + 500) * Decimal("1e-5") + abs(
        converted(there + abs(there) * Decimal("1e-5"), to, to=unit) - back
    )
    assert abs(back - number) <= step


def test_six_significant_digits_at_most():
    assert decimal_text(converted(Decimal("123456.789"), "ft", to="m")) == "37629.6"


@pytest.mark.parametrize(
    ("unit", "to", "reason"), [("furlong", "m", "unknown_unit"), ("ft", "s", "other_quantity")]
)
def test_what_cannot_be_told_in_the_other_is_refused(unit, to, reason):
    with pytest.raises(CallError) as fault:
        converted(Decimal(1), unit, to=to)
    assert fault.value.reason == reason


def test_units_of_the_codebook():
    assert (unit_of("degrees Celsius"), unit_of("kt"), unit_of("people")) == ("degC", "kt", "")


@pytest.mark.parametrize(
    ("number", "text"),
    [("1E+3", "1000"), ("0.500", "0.5"), ("-0.0", "0"), ("12", "12"), ("1E-7", "0.0000001")],
)
def test_numbers_are_written_plainly(number, text):
    assert decimal_text(Decimal(number)) == text


@pytest.mark.parametrize(
    ("text", "half"), [("28", "0.5"), ("28.0", "0.05"), ("-3.25", "0.005"), ("100", "0.5"), ("0", "0.5")]
)
def test_half_of_the_last_place_that_is_written(text, half):
    assert half_of_last_place(Decimal(text)) == Decimal(half)
