"""How unlike in their chance of training may people of one mishap have been before the gain there could be chance?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from numpy.typing import ArrayLike

from survstats.models.within_mishap import exact_within


@dataclass(frozen=True)
class HiddenBias:
    """What a hidden bias would have to be to account for the comparison inside mishaps.

    Attributes
    ----------
    gamma : float
        Factor by which the odds of having been trained may differ between two people of the same mishap before the
        comparison could be chance; 1 where it is not distinguishable from chance as it stands, infinite where no bias
        makes it chance.
    limit : float
        Exact one-sided limit of the conditional odds ratio, on the side of 1.
    odds_ratio : float
        Conditional maximum likelihood; 0 or infinite where the trained did as badly, or as well, as could be.
    p : float
        Exact one-sided p of a comparison so far in this direction, without any bias.
    direction : {"benefit", "harm"}
        Whether the odds ratio is above 1 (or just 1) or below.
    informative : int
        Mishaps with both outcomes and both training groups aboard.
    """

    gamma: float
    limit: float
    odds_ratio: float
    p: float
    direction: Literal["benefit", "harm"]
    informative: int


def hidden_bias(
    outcome: ArrayLike, exposure: ArrayLike, cluster: ArrayLike, *, level: float = 0.95
) -> HiddenBias:
    """The greatest hidden bias at which the gain (or loss) inside mishaps still is more than chance.

    Parameters
    ----------
    outcome, exposure : ndarray of shape (n,)
        0 and 1.
    cluster : ndarray of shape (n,)
        Mishap labels.
    level : float
        Coverage of the one-sided limit, above one half; the p at the bias ``gamma`` is 1 - ``level``.

    Raises
    ------
    NotEstimable
        ``few_mishaps`` with fewer than three informative mishaps.
    CallError
        ``not_binary``, ``level``.

    Notes
    -----
    If the odds of training differ by at most a factor gamma between people of one mishap, the worst that can be is a
    factor gamma between those who lived and those who died. The trained survivors then follow the same convolution of
    non-central hypergeometric laws as under a conditional odds ratio of gamma, so that the greatest bias that leaves p
    at 1 - ``level`` is the exact one-sided limit itself. The idea is Rosenbaum's (2002, Observational Studies, second
    edition, chapter 4, doi:10.1007/978-1-4757-3692-2; from memory). All is given the margins of each mishap; what
    differs between mishaps does not enter. What differs between people of one mishap, such as role and seat, does: it
    is part of the bias that ``gamma`` measures, and is not held equal here.
    """
    found = exact_within(outcome, exposure, cluster, level=2 * level - 1)
    benefit = found.log_odds_ratio > -1e-9  # none at all is found to that
    limit = math.exp(found.exact_low if benefit else found.exact_high)
    return HiddenBias(
        gamma=max(1.0, limit if benefit else 1 / limit if limit > 0 else math.inf),
        limit=limit,
        odds_ratio=math.exp(found.log_odds_ratio) if found.log_odds_ratio < math.inf else math.inf,
        p=found.p_better if benefit else found.p_worse,
        direction="benefit" if benefit else "harm",
        informative=found.tally.informative,
    )
