"""A survivor headline told by others: what it can carry, as numbers by id. Standard library only: it starts fast."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from survstats.challenge.survivor_only import (
    Headline,
    Range,
    compare,
    difference_range,
    rounded_range,
    share_of_dead,
    shares_aboard_possible,
    whole_number_behind,
)
from survstats.groundwork.errors import CallError
from survstats.study.results import Number

_NUMBER = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
_SHARE = re.compile(rf"\s*({_NUMBER})\s*(%?)\s*(?:(?:-|–|to)\s*({_NUMBER})\s*(%?)\s*)?")


@dataclass(frozen=True)
class Share:
    """A share as somebody typed it.

    Attributes
    ----------
    range : (float, float)
        In [0, 1]; both ends equal for a single figure.
    decimals_of_percent : int
        How many decimals of a per cent were typed.
    """

    range: Range
    decimals_of_percent: int

    @property
    def single(self) -> bool:
        """Whether it is one figure and no range."""
        return self.range[0] == self.range[1]


@dataclass(frozen=True)
class HeadlineResults:
    """What a headline amounts to: numbers by id, and the keys of the sentences that apply, in order."""

    numbers: Mapping[str, Number]
    sentences: tuple[str, ...]


def read_share(typed: str, name: str) -> Share:
    """A share from text such as ``.8``, ``80 %`` or ``75%-85%``.

    Raises
    ------
    CallError
        ``bad_share`` with what may be written.
    """
    found = _SHARE.fullmatch(typed)
    if found is None:
        raise _bad_share(typed, name, "is not a share")
    low, percent_low, high, percent_high = found.groups()
    percent = bool(percent_low or percent_high)
    ends = [float(part.replace(",", ".")) for part in (low, high or low)]
    if not percent and max(ends) > 1:
        raise _bad_share(typed, name, "is more than all of them")
    if percent:
        ends = [end / 100 for end in ends]
    if max(ends) > 1:
        raise _bad_share(typed, name, "does not lie between none and all")
    if ends[0] > ends[1]:
        raise _bad_share(typed, name, "runs backwards")
    decimals = len(low.replace(",", ".").partition(".")[2])
    return Share((ends[0], ends[1]), decimals if percent else max(decimals - 2, 0))


def weigh_headline(
    aboard: int,
    died: int,
    trained_of_survivors: Share | str,
    *,
    trained_aboard: Share | str | None = None,
    trained_of_dead: Share | str | None = None,
) -> HeadlineResults:
    """What a survivor headline can and cannot carry.

    Parameters
    ----------
    aboard, died : int
        Counts; 0 < died < aboard.
    trained_of_survivors : Share or str
        A share, or as one would type it: ``"80 %"``, ``".8"``, ``"75%-85%"``.
    trained_aboard, trained_of_dead : Share or str, optional
        At most one of them: what is known beyond the survivors.

    Raises
    ------
    CallError
        ``bad_counts``, ``bad_share``, ``too_much`` (both optional shares) or ``contradiction``.
    """
    trained_of_survivors = _as_share(trained_of_survivors, "trained_of_survivors")
    trained_aboard = None if trained_aboard is None else _as_share(trained_aboard, "trained_aboard")
    trained_of_dead = None if trained_of_dead is None else _as_share(trained_of_dead, "trained_of_dead")
    if not 0 < died < aboard:
        raise CallError(
            "bad_counts",
            f"With {aboard} aboard and {died} dead there is no such headline.",
            "--died must be at least one and less than --aboard.",
        )
    if trained_aboard is not None and trained_of_dead is not None:
        raise CallError(
            "too_much", "--trained-aboard and --trained-of-dead were both given.", "Give one of them."
        )
    headline = Headline(aboard, died, trained_of_survivors.range)
    numbers = _typed(headline)
    sentences = ["head"]
    if not trained_of_survivors.single or 0 < trained_of_survivors.range[0] < 1:
        sentences.append("typed")
    if trained_of_survivors.single:
        sentences += _rounding(headline, trained_of_survivors.decimals_of_percent, numbers)
        share = trained_of_survivors.range[0]
        sentences.append("no_effect" if 0 < share < 1 else "no_comparison")
    else:
        sentences.append("no_effect_range")
    of_dead = None if trained_of_dead is None else trained_of_dead.range
    if trained_aboard is not None:
        of_dead = _from_aboard(headline, trained_aboard.range, numbers)
        sentences.append("from_aboard")
    if of_dead is not None:
        sentences += _with_dead(headline, of_dead, numbers)
    sentences.append("ask" if of_dead is None else "ask_source")
    return HeadlineResults(numbers, tuple(sentences))


def _as_share(share: Share | str, name: str) -> Share:
    return read_share(share, name) if isinstance(share, str) else share


def _typed(headline: Headline) -> dict[str, Number]:
    low, high = difference_range(
        headline.survivors, headline.died, of_survivors=headline.trained_of_survivors
    )
    return {
        "claim.aboard": _count(headline.aboard),
        "claim.died": _count(headline.died),
        "claim.survivors": _count(headline.survivors),
        "claim.trained_of_survivors": _range(headline.trained_of_survivors),
        "claim.rd_low": _figure(low, "difference"),
        "claim.rd_high": _figure(high, "difference"),
        "claim.aboard_possible": _range(shares_aboard_possible(headline)),
        "claim.leverage": _figure(headline.aboard / headline.died, "ratio"),
    }


def _rounding(headline: Headline, decimals: int, numbers: dict[str, Number]) -> list[str]:
    share, survivors = headline.trained_of_survivors[0], headline.survivors
    nearest, exact = whole_number_behind(share, survivors)
    low, high = difference_range(survivors, headline.died, of_survivors=rounded_range(share, decimals))
    numbers["claim.rounding"] = _figure(10.0**-decimals, "percent_step")
    numbers["claim.rounded_rd_low"] = _figure(low, "difference")
    numbers["claim.rounded_rd_high"] = _figure(high, "difference")
    numbers["claim.nearest"] = _count(nearest)
    numbers["claim.nearest_share"] = _figure(nearest / survivors, "share")
    return ["rounded"] if exact else ["rounded", "not_whole"]


def _from_aboard(headline: Headline, aboard: Range, numbers: dict[str, Number]) -> Range:
    numbers["claim.trained_aboard"] = _range(aboard)
    try:
        of_dead = share_of_dead(headline, aboard)
    except CallError as fault:
        low, high = shares_aboard_possible(headline)
        raise CallError(
            fault.reason,
            fault.plain,
            f"With this headline the share trained aboard lies between {100 * low:.1f} % and {100 * high:.1f} %.",
        ) from None
    numbers["claim.trained_of_dead"] = _range(of_dead)
    return of_dead


def _with_dead(headline: Headline, of_dead: Range, numbers: dict[str, Number]) -> list[str]:
    numbers["claim.trained_of_dead"] = _range(of_dead)
    low, high = difference_range(
        headline.survivors, headline.died, of_survivors=headline.trained_of_survivors, of_dead=of_dead
    )
    numbers["claim.with_rd_low"] = _figure(low, "difference")
    numbers["claim.with_rd_high"] = _figure(high, "difference")
    if of_dead[0] != of_dead[1] or headline.trained_of_survivors[0] != headline.trained_of_survivors[1]:
        return ["with_dead"]
    found = compare(
        headline.survivors, headline.died, of_survivors=headline.trained_of_survivors[0], of_dead=of_dead[0]
    )
    numbers["claim.with_rr"] = _figure(found.survival_ratio, "ratio")
    numbers["claim.with_or"] = _figure(found.odds_ratio, "odds_ratio")
    return ["with_dead_one"]


def _bad_share(typed: str, name: str, why: str) -> CallError:
    return CallError("bad_share", f"{name} '{typed}' {why}.", "Write .8, 80 % or a range such as 75%-85%.")


def _count(value: int) -> Number:
    return Number(value=float(value), unit="count", method="typed")


def _figure(value: float, unit: str) -> Number:
    return Number(value=value, unit=unit, method="survivor_only")


def _range(ends: Range) -> Number:
    return Number(value=math.fsum(ends) / 2, unit="share", method="typed", low=ends[0], high=ends[1])
