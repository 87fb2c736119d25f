"""What is a life under a policy bought for, which policy is best at a value of life, and what is certainty worth?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from survstats.decision.conventions import TAIL
from survstats.groundwork.errors import CallError

Floats = NDArray[np.float64]
CostForm = Literal["bought", "freed", "better_and_cheaper", "worse_and_dearer", "same"]


@dataclass(frozen=True)
class CostPerLife:
    """What a life costs, or what is freed for each life given up, with its limits.

    Attributes
    ----------
    value : float or None
        Expected extra cost over expected lives; None where the form has no ratio.
    low, high : float or None
        Limits; ``low`` may be below 0 (may cost nothing), None where unbounded; ``high`` None where ``none_above``.
    none_above : bool
        More than 2.5 % of worlds save no life (``bought``), or give none up (``freed``): no upper limit.
    share_no_lives : float
        Share of worlds in which lives <= 0.
    form : {"bought", "freed", "better_and_cheaper", "worse_and_dearer", "same"}
        ``bought``: more lives for more money. ``freed``: money freed for each life given up, where larger is better.
        The next two have no trade-off on expectation; ``same``: neither lives nor money differ.
    """

    value: float | None
    low: float | None
    high: float | None
    none_above: bool
    share_no_lives: float
    form: CostForm


def cost_per_life(extra_cost: ArrayLike, lives: ArrayLike) -> CostPerLife:
    """Money for one life: ratio of expectations, with limits that hold where lives may be none.

    The upper limit is the least value of life at which a policy is worth it with a chance of 97.5 %: a world that
    saves no life is worth it at no price, so that with more than 2.5 % of these there is no limit. The lower limit is
    the value below which the chance is under 2.5 %. Worlds on the other side of both, cheaper and with fewer lives,
    are counted outside both limits, which widens them. For normal lives and money this is Fieller's interval.

    Parameters
    ----------
    extra_cost, lives : array_like of shape (b,)
        Against the same other policy, in the same worlds.

    Raises
    ------
    CallError
        ``worth_shape`` where the two do not match or are empty.

    References
    ----------
    Fieller 1954, doi:10.1111/j.2517-6161.1954.tb00159.x; acceptability: van Hout et al. 1994,
    doi:10.1002/hec.4730030505 (both from memory). Ratio of means and not mean of ratios: Stinnett and Paltiel 1997,
    doi:10.1177/0272989X9701700414.
    """
    money, saved = np.asarray(extra_cost, dtype=float), np.asarray(lives, dtype=float)
    if money.ndim != 1 or money.shape != saved.shape or not len(money):
        raise CallError("worth_shape", f"{money.shape} costs do not match {saved.shape} lives.")
    no_lives = float(np.mean(saved <= 0))
    mean_money, mean_saved = float(money.mean()), float(saved.mean())
    if mean_saved > 0 and mean_money > 0:
        low, high = _limits(money, saved)
        form: CostForm = "bought"
    elif mean_saved < 0 and mean_money < 0:
        low, high = _limits(-money, -saved)
        form = "freed"
    else:
        return CostPerLife(None, None, None, False, no_lives, _without_ratio(mean_money, mean_saved))
    return CostPerLife(mean_money / mean_saved, low, high, high is None, no_lives, form)


def _without_ratio(money: float, saved: float) -> CostForm:
    if money == 0 and saved == 0:
        return "same"
    return "better_and_cheaper" if saved >= 0 and money <= 0 else "worse_and_dearer"


def _limits(money: Floats, saved: Floats) -> tuple[float | None, float | None]:
    """Limits of money over lives where both are above 0 on expectation."""
    gains = saved > 0
    ratio = np.divide(money, saved, out=np.full(len(money), np.inf), where=gains)
    high = float(np.quantile(ratio, 1 - TAIL, method="inverted_cdf"))
    ratio[~gains & (money < 0)] = -np.inf
    low = float(np.quantile(ratio, TAIL, method="inverted_cdf"))
    return (low if np.isfinite(low) else None), (high if np.isfinite(high) else None)


def discount_factor(rate: float, years: int) -> float:
    """What a unit each year, at the end of each of some years, is worth today: sum of (1 + rate)^-t.

    Lives and money are discounted alike.

    Parameters
    ----------
    rate : float
        A year, as a share, above -1.
    years : int
        At least 1.

    Raises
    ------
    CallError
        ``discount_rate``, ``discount_years``.
    """
    if not rate > -1:
        raise CallError("discount_rate", f"A discount rate must be above -1, not {rate}.")
    if years < 1:
        raise CallError("discount_years", f"Years must be at least 1, not {years}.")
    return float(np.sum((1 + rate) ** -np.arange(1.0, years + 1)))


def net_benefit(lives: ArrayLike, extra_cost: ArrayLike, *, value_of_life: ArrayLike) -> Floats:
    """What a policy is worth in money: value_of_life times lives, less extra cost; shapes broadcast.

    References
    ----------
    Stinnett and Mullahy 1998, doi:10.1177/0272989X98018002S09 (from memory).
    """
    worth = np.asarray(value_of_life, dtype=float) * np.asarray(lives, dtype=float)
    return np.asarray(worth - np.asarray(extra_cost, dtype=float))


def acceptability(worth: ArrayLike) -> Floats:
    """In what share of worlds is each policy the best?

    Parameters
    ----------
    worth : array_like of shape (..., s, b)
        Net benefit of s policies in b worlds. Policies that tie for best share the world between them.

    Returns
    -------
    ndarray of shape (..., s)
        Sums to 1 over policies.

    Raises
    ------
    CallError
        ``worth_shape``.

    References
    ----------
    van Hout et al. 1994, doi:10.1002/hec.4730030505 (from memory).
    """
    each = _policies(worth)
    best = each == each.max(axis=-2, keepdims=True)
    return np.asarray((best / best.sum(axis=-2, keepdims=True)).mean(axis=-1))


def perfect_information(worth: ArrayLike) -> Floats:
    """What would it be worth to know the true world before choosing: E max - max E, never below 0.

    Parameters
    ----------
    worth : array_like of shape (..., s, b)
        Net benefit of s policies in b worlds.

    Returns
    -------
    ndarray of shape (...)
        Money a year; exactly 0 where one policy is the best in every world.

    Raises
    ------
    CallError
        ``worth_shape``.

    References
    ----------
    Raiffa and Schlaifer 1961, Applied Statistical Decision Theory (from memory).
    """
    each = _policies(worth)
    chosen = each.mean(axis=-1).argmax(axis=-1)
    own = np.take_along_axis(each, chosen[..., None, None], axis=-2)[..., 0, :]
    return np.asarray(
        (each.max(axis=-2) - own).mean(axis=-1)
    )  # world by world, so that it cannot round below 0


def _policies(worth: ArrayLike) -> Floats:
    each = np.asarray(worth, dtype=float)
    if each.ndim < 2 or 0 in each.shape:
        raise CallError("worth_shape", f"Worth must be given by policy and world, not in shape {each.shape}.")
    return each
