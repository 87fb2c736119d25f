"""Do the records as a whole look as if they were written down apart from who lived, and not copied?"""

from __future__ import annotations

import numpy as np

from survstats.records.codebook import NOT_COLLECTED, TABLES, UNKNOWN
from survstats.records.deriving import died, training_known
from survstats.records.rules.rule import Evidence, Hit, Rule

FEWEST_COPIES = 3  # timed survivors of a mishap
FEWEST_EXACT = 20  # times of the study
MOST_HEAPED = 0.6
_SPAN = ["mishap_id", "egress_lo_s", "egress_hi_s"]


def _copied(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    timed = occupant.loc[~died(occupant) & (occupant["egress_hi_s"] < np.inf), _SPAN]
    group = timed.groupby("mishap_id", sort=False)
    same = (group["egress_hi_s"].nunique() == 1) & (group["egress_lo_s"].nunique(dropna=False) == 1)
    counts = group.size()[same & (group.size() >= FEWEST_COPIES)]
    first = timed.drop_duplicates("mishap_id")
    first = first[first["mishap_id"].isin(counts.index)]
    return [
        Hit(
            "occupant",
            int(at),
            "egress_lo_s",
            f"{low:g} to {high:g} s for all {counts[mishap]} timed survivors of {mishap}",
            "times taken from each survivor",
        )
        for at, mishap, low, high in first.itertuples(name=None)
    ]


def _rounded(evidence: Evidence) -> list[Hit]:
    """Only times that claim to be exact (no span) count: a span says itself how unsure it is."""
    low, high = evidence.occupant["egress_lo_s"], evidence.occupant["egress_hi_s"]
    exact = low[(low == high) & (low < np.inf)]
    heaped = int((exact % 5 == 0).sum())
    if len(exact) < FEWEST_EXACT or heaped <= MOST_HEAPED * len(exact):
        return []
    seen = f"{heaped} of {len(exact)} exact times are a multiple of 5 s"
    return [Hit("occupant", None, "egress_lo_s", seen, "about one in five")]


def _survivors_looked_up(evidence: Evidence) -> list[Hit]:
    dead, known = died(evidence.occupant), training_known(evidence.occupant)
    if dead.all() or not dead.any() or not known[~dead].all() or known[dead].mean() >= 0.5:
        return []
    of_dead = f"{int(known[dead].sum())} of {int(dead.sum())} dead"
    seen = f"known for all {int((~dead).sum())} survivors and for {of_dead}"
    return [Hit("occupant", None, "training_ever", seen, "training looked up for the dead as well")]


def _unknown_gap(evidence: Evidence) -> list[Hit]:
    dead, known = died(evidence.occupant), training_known(evidence.occupant)
    unknown_dead, unknown_alive = int((~known[dead]).sum()), int((~known[~dead]).sum())
    n_dead, n_alive = int(dead.sum()), int((~dead).sum())
    seen = f"training unknown for {unknown_dead} of {n_dead} dead and {unknown_alive} of {n_alive} survivors"
    if n_dead and n_alive:
        gap = 100 * (unknown_dead / n_dead - unknown_alive / n_alive)
        seen += f", a gap of {gap:+.1f} points"
    return [Hit("occupant", None, "training_ever", seen, "")]


def _all_dead_alike(evidence: Evidence) -> list[Hit]:
    occupant = evidence.occupant
    dead, ever = died(occupant), occupant["training_ever"]
    recorded = ever.isin(["yes", "no"])
    among_dead, among_alive = ever[dead & recorded].unique(), ever[~dead & recorded].unique()
    mishaps = occupant.loc[dead & recorded, "mishap_id"].nunique()
    if len(among_dead) != 1 or mishaps < 3 or set(among_alive) <= set(among_dead):
        return []
    seen = f"{among_dead[0]} for every one of the dead, in {mishaps} mishaps"
    return [Hit("occupant", None, "training_ever", seen, "training entered without knowing who lived")]


def _told_by_different_people(evidence: Evidence) -> list[Hit]:
    dead, basis = died(evidence.occupant), evidence.occupant["training_evidence"]
    known = training_known(evidence.occupant) & basis.notna()
    of_dead, of_alive = basis[dead & known], basis[~dead & known]
    if of_dead.empty or of_alive.empty:
        return []
    if not ((of_alive == "self_report").all() and (of_dead == "next_of_kin").all()):
        return []
    seen = "self_report for all survivors, next_of_kin for all the dead"
    return [Hit("occupant", None, "training_evidence", seen, "the same kind of evidence for both")]


def _unknown_and_empty(evidence: Evidence) -> list[Hit]:
    hits = []
    for table in TABLES:
        for name, column in evidence.records.raw[table].items():
            texts = column.to_numpy(object)
            unknown, empty = np.count_nonzero(texts == UNKNOWN), np.count_nonzero(texts == NOT_COLLECTED)
            if unknown and empty:
                hits.append(Hit(table, None, str(name), f"{unknown} unknown and {empty} not collected", ""))
    return hits or [Hit("occupant", None, "", "no field holds both unknown and empty cells", "")]


def _alone(evidence: Evidence) -> list[Hit]:
    rows = evidence.occupant.groupby("mishap_id").size()
    seen = f"{int((rows == 1).sum())} of {len(evidence.mishap)} mishaps have one occupant row"
    return [Hit("mishap", None, "", seen, "")]


STUDY_RULES = (
    Rule("R36", _copied),
    Rule("R37", _rounded),
    Rule("R38", _survivors_looked_up),
    Rule("R39", _unknown_gap),
    Rule("R40", _all_dead_alike),
    Rule("R41", _told_by_different_people),
    Rule("R44", _unknown_and_empty),
    Rule("R45", _alone),
)
