"""How many lived and died, by what is recorded of their training?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Tally:
    """Counts of a population; shares are None where nobody stands in the denominator.

    Attributes
    ----------
    survived, died : mapping of str to int
        People by trained status: ``current``, ``lapsed``, ``none``, ``briefing_or_dry_only``, ``unknown``.
    documented_survived, documented_died : int
        Of these, with the training entry resting on a certificate or the roster.
    mishaps : int
        Mishaps they come from.
    """

    survived: Mapping[str, int]
    died: Mapping[str, int]
    documented_survived: int
    documented_died: int
    mishaps: int

    @property
    def n_survived(self) -> int:
        """Everyone who lived."""
        return sum(self.survived.values())

    @property
    def n_died(self) -> int:
        """Everyone who died."""
        return sum(self.died.values())

    @property
    def occupants(self) -> int:
        """Everyone in the population."""
        return self.n_survived + self.n_died

    @property
    def share_of_survivors_trained(self) -> float | None:
        """Share currently trained of the survivors known to be current or never trained."""
        return _share(self.survived["current"], self.survived["current"] + self.survived["none"])

    @property
    def share_of_dead_trained(self) -> float | None:
        """Share currently trained of the dead known to be current or never trained."""
        return _share(self.died["current"], self.died["current"] + self.died["none"])

    @property
    def survival_trained(self) -> float | None:
        """Share of the currently trained who lived."""
        return _share(self.survived["current"], self.survived["current"] + self.died["current"])

    @property
    def survival_untrained(self) -> float | None:
        """Share of the never trained who lived."""
        return _share(self.survived["none"], self.survived["none"] + self.died["none"])

    @property
    def share_of_survivors_unknown(self) -> float | None:
        """Share of survivors whose training is unknown."""
        return _share(self.survived["unknown"], self.n_survived)

    @property
    def share_of_dead_unknown(self) -> float | None:
        """Share of the dead whose training is unknown."""
        return _share(self.died["unknown"], self.n_died)

    @property
    def share_of_survivors_documented(self) -> float | None:
        """Share of survivors whose training entry is documented."""
        return _share(self.documented_survived, self.n_survived)

    @property
    def share_of_dead_documented(self) -> float | None:
        """Share of the dead whose training entry is documented."""
        return _share(self.documented_died, self.n_died)


def tally(frame: pd.DataFrame) -> Tally:
    """Counts by fate and trained status in a derived frame (n occupants, may be empty).

    Parameters
    ----------
    frame : DataFrame
        Needs ``survived``, ``trained_status`` (category), ``documented`` and ``mishap_id``.
    """
    lived = frame["survived"] == 1
    status = frame["trained_status"]
    documented = frame["documented"]
    return Tally(
        survived=_counts(status[lived]),
        died=_counts(status[~lived]),
        documented_survived=int((documented & lived).sum()),
        documented_died=int((documented & ~lived).sum()),
        mishaps=int(frame["mishap_id"].nunique()),
    )


def _counts(status: pd.Series[str]) -> dict[str, int]:
    return {str(code): int(count) for code, count in status.value_counts(sort=False).items()}


def _share(part: int, whole: int) -> float | None:
    return part / whole if whole else None
