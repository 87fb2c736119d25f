"""How does a number, a text or a code become words? The one table by which numbers are rounded."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from survstats.study.results import Number

NO_BREAK = "\u00a0"
MINUS = "\u2212"


def _whole(value: float) -> str:
    if not math.isfinite(value):
        return "no limit"
    rounded = math.floor(abs(value) + 0.5)
    return f"{MINUS if value < 0 and rounded else ''}{rounded:,}".replace(",", NO_BREAK)


def _points_bare(value: float) -> str:
    """Whole points; a figure that would round to 0 without being 0 keeps a decimal, so that its side shows."""
    points = 100 * value
    if 0.05 <= abs(points) < 0.5:
        return f"{points:.1f}".replace("-", MINUS)
    return _whole(points)


def _points_exact(value: float) -> str:
    return f"{100 * value:.6g}".replace("-", MINUS)


def _share(value: float) -> str:
    """A share in whole per cent; never 0 or 100 unless it is exactly that."""
    if 0 < value < 0.005:
        return "<1"
    return ">99" if 0.995 <= value < 1 else _whole(100 * value)


def _points(value: float) -> str:
    bare = _points_bare(value)
    return f"{bare}{NO_BREAK}{'point' if bare in ('1', MINUS + '1') else 'points'}"


def _counted(one: str, many: str) -> Callable[[float], str]:
    return lambda value: f"{_whole(value)}{NO_BREAK}{one if round(value) == 1 else many}"


def _ratio(value: float) -> str:
    return (
        f"{value:#.2g}".rstrip(".")
        if value < 99
        else _whole(value)
        if math.isfinite(value)
        else "without limit"
    )


def _decimal(value: float, places: int = 2) -> str:
    if not math.isfinite(value):
        return "no limit"
    shown = f"{value:.{places}f}"
    return (shown.removeprefix("-") if float(shown) == 0 else shown).replace("-", MINUS)


def _chance(value: float) -> str:
    """A p-value; never 0."""
    return "<.001" if value < 0.001 else f"{value:.3f}".removeprefix("0") if value < 0.1 else f"{value:.2f}"


def _signed(value: float) -> str:
    return f"{100 * value:+.1f}"


def _plain_percent(value: float) -> str:
    return f"{round(100 * value, 2):g}"


def _typed_percent(value: float) -> str:
    return f"{_plain_percent(value)}{NO_BREAK}%"


def _percent_step(value: float) -> str:
    return "a whole per cent" if value == 1 else f"{value:g} per cent"


def _months(value: float) -> str:
    return f"{value:g}{NO_BREAK}{'month' if value == 1 else 'months'}"


def _seconds_bare(value: float) -> str:
    """Whole seconds; below ten one decimal, unless it is 0."""
    if not math.isfinite(value):
        return "no limit"
    tenths = math.floor(10 * abs(value) + 0.5) / 10
    if tenths >= 10 or tenths == int(tenths):
        return _whole(value)
    return f"{math.copysign(tenths, value):.1f}".replace("-", MINUS)


def _seconds(value: float) -> str:
    bare = _seconds_bare(value)
    return f"{bare}{NO_BREAK}{'second' if bare in ('1', MINUS + '1') else 'seconds'}"


def _time_ratio(value: float) -> str:
    """How many times as long; two decimals, so that .97 and 1.04 do not both print as 1."""
    return f"{value:.2f}" if value < 9.995 else _ratio(value)


def _digits(value: float, digits: int) -> str:
    """A number to so many digits, never in powers of ten: "345 000", "0.031"; what is next to nothing is "0"."""
    if not math.isfinite(value):
        return "no limit"
    size = abs(value)
    if size < 0.5e-6:
        return "0"
    places = digits - 1 - math.floor(math.log10(size))
    size = round(size, places)
    places = digits - 1 - math.floor(math.log10(size))
    shown = f"{size:,.{max(places, 0)}f}".replace(",", NO_BREAK)
    if places > 0 and digits > 2:
        shown = shown.rstrip("0").rstrip(".")
    return f"{MINUS if value < 0 else ''}{shown}"


def _figure(value: float) -> str:
    """A given figure to three digits."""
    return _digits(value, 3)


def _lives(value: float) -> str:
    """Lives a year, to two digits: most options buy small parts of a life in a year."""
    return _digits(value, 2)


def _money(value: float) -> str:
    """Money to three digits, from a million on in millions; the currency stands before it."""
    for step, name in ((1e9, "billion"), (1e6, "million")):
        if math.isfinite(value) and abs(value) >= 0.9995 * step:
            return f"{_digits(value / step, 3)}{NO_BREAK}{name}"
    return _digits(value, 3) if abs(value) >= 1 else "0"


def _money_pair(low: str, high: str) -> str:
    """Both limits; the word after the lower one is left off where it is that of the higher."""
    word = high.rpartition(NO_BREAK)[2]
    return _pair(low.removesuffix(f"{NO_BREAK}{word}") if word.isalpha() else low, high)


def _money_with_limits(n: Number) -> str:
    if n.low is None or n.high is None:
        return _money(n.value)
    return f"{_money(n.value)} ({_money_pair(_money(n.low), _money(n.high))})"


def _years(value: float) -> str:
    shown = _digits(value, 2)
    return f"1{NO_BREAK}year" if shown == "1.0" else f"{shown}{NO_BREAK}years"


def _in_million(value: float) -> str:
    """A share as so many in a million, where per cent would be all noughts."""
    return _digits(1e6 * value, 2)


def _pair(low: str, high: str) -> str:
    return f"{low}{NO_BREAK}to{NO_BREAK}{high}"


FORMS: dict[str, Callable[[float], str]] = {
    "count": _whole,
    "about": lambda value: (
        f"about {_whole(value)}" if value >= 1 else "less than one" if value > 0 else "none"
    ),
    "year": lambda value: f"{value:.0f}",
    "percent": lambda value: f"{_share(value)}{NO_BREAK}%",
    "whole_percent": _share,
    "of_hundred": lambda value: f"{_share(value)}{NO_BREAK}of{NO_BREAK}100",
    "points": _points,
    "points_bare": _points_bare,
    "points_exact": lambda value: f"{_points_exact(value)}{NO_BREAK}{'point' if value == 0.01 else 'points'}",
    "points_exact_bare": _points_exact,
    "minus_points_exact_bare": lambda value: _points_exact(-value),
    "points_signed": _signed,
    "percent_step": _percent_step,
    "percent_two": lambda value: f"{100 * value:.2f} %",
    "ratio": _ratio,
    "months": _months,
    "people": _counted("person", "people"),
    "mishaps": _counted("mishap", "mishaps"),
    "water_mishaps": _counted("helicopter water mishap", "helicopter water mishaps"),
    "unknown_people": lambda value: f"{_whole(value)}{NO_BREAK}unknown",
    "errors": _counted("error", "errors"),
    "warnings": _counted("warning", "warnings"),
    "statements": _counted("statement", "statements"),
    "plans": _counted("plan", "plans"),
    "states": _counted("state", "states"),
    "shared_papers": _counted("paper for sharing", "papers for sharing"),
    "people_have": _counted("person aboard has", "people aboard have"),
    "have": _counted("has", "have"),
    "were": _counted("was", "were"),
    "are": _counted("is", "are"),
    "seconds": _seconds,
    "seconds_bare": _seconds_bare,
    "whole_seconds": lambda value: f"{value:.0f}",
    "time_ratio": _time_ratio,
    "agreement": _decimal,
    "decimal": _decimal,
    "one_decimal": lambda value: _decimal(value, 1),
    "chance": _chance,
    "points_tenth": lambda value: _decimal(100 * value, 1),
    "times_odds": lambda value: f"{math.exp(value):.2g}",
    "months_bare": _whole,
    "log_odds": _decimal,
    "of_draws": _counted("draw", "draws"),
    "rounds": _counted("round", "rounds"),
    "findings": _counted("finding", "findings"),
    "runs": _counted("trainer run", "trainer runs"),
    "figure": _figure,
    "lives": _lives,
    "money": _money,
    "years": _years,
    "in_million": _in_million,
    "inputs": _counted("figure", "figures"),
}


def _with_limits(form: Callable[[float], str], unit: str = "") -> Callable[[Number], str]:
    """A number and its interval: "8 (-4 to 20)"; without the bracket where it has no interval."""

    def shown(n: Number) -> str:
        if n.low is None and n.high is None:
            return f"{form(n.value)}{unit}"
        return f"{form(n.value)}{unit} ({_pair(form(_limit(n.low)), form(_limit(n.high)))})"

    return shown


def _months_or_never(n: Number) -> str:
    """Months and their limits, where an interval without end means no refresher."""
    return _with_limits(lambda value: _whole(value) if math.isfinite(value) else "no refresher")(n)


def _per_life(without: str) -> Callable[[Number], str]:
    """Money for each life and its limits; ``without`` stands where there is no upper one."""

    def shown(n: Number) -> str:
        if n.low is None and n.high is None:
            return _money(n.value)
        low = "0" if n.low is None else _money(n.low)
        high = without if n.high is None or not math.isfinite(n.high) else _money(n.high)
        return f"{_money(n.value)} ({_money_pair(low, high)})"

    return shown


def _turned(n: Number) -> Number:
    """The number with its sign turned: "so much less" for a difference below zero."""
    low, high = (None if limit is None else -limit for limit in (n.high, n.low))
    return replace(n, value=-n.value, low=low, high=high)


WHOLE_FORMS: dict[str, Callable[[Number], str]] = {
    "ratio_with_interval": _with_limits(_ratio),
    "decimal_with_interval": _with_limits(_decimal),
    "percent_with_interval": _with_limits(_share),
    "whole_with_interval": _with_limits(_whole),
    "months_with_interval": _with_limits(_whole, f"{NO_BREAK}months"),
    "months_or_never": _months_or_never,
    "seconds_with_interval": _with_limits(_seconds_bare, f"{NO_BREAK}seconds"),
    "time_ratio_with_interval": _with_limits(_time_ratio),
    "time_ratio_interval": lambda n: _pair(_time_ratio(_limit(n.low)), _time_ratio(_limit(n.high))),
    "interval": lambda n: _pair(_points_bare(_limit(n.low)), _points_bare(_limit(n.high))),
    "percent_limits": lambda n: _pair(*(_share(_limit(limit)) for limit in (n.low, n.high))) + f"{NO_BREAK}%",
    "percent_interval": lambda n: _pair(_share(_limit(n.low)), _share(_limit(n.high))),
    "ratio_interval": lambda n: _pair(_ratio(_limit(n.low)), _ratio(_limit(n.high))),
    "agreement_interval": lambda n: _pair(*(FORMS["agreement"](_limit(limit)) for limit in (n.low, n.high))),
    "points_with_interval": _with_limits(_points_bare),
    "figure_with_interval": _with_limits(_figure),
    "percent_exact_with_interval": _with_limits(_points_exact),
    "lives_with_interval": _with_limits(_lives),
    "money_with_interval": _money_with_limits,
    "money_less_with_interval": lambda n: _with_limits(_money)(_turned(n)),
    "years_with_interval": _with_limits(_years),
    "in_million_with_interval": _with_limits(_in_million),
    "share_with_interval": _with_limits(_share, f"{NO_BREAK}%"),
    "cost_per_life": _per_life("none: it may save no one"),
    "freed_per_life": _per_life("no limit"),
    "percent_range": lambda n: (
        _typed_percent(n.value)
        if n.low == n.high or n.low is None
        else f"{_pair(_plain_percent(n.low), _plain_percent(_limit(n.high)))}{NO_BREAK}%"
    ),
}

TEXT_FORMS: dict[str, Callable[[str], str]] = {
    "text": lambda text: text,
    "code": lambda text: text.replace("_", " "),
    "hash": lambda text: f"{text[:4]}{NO_BREAK}{text[4:8]}",
    "on_place": lambda text: f", {text}" if text else "",
}


def _limit(value: float | None) -> float:
    return math.nan if value is None else value
