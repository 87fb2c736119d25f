"""Do the records of a study as a whole look as if they were written down apart from who lived, and not copied?"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from survstats.records.codebook import NOT_COLLECTED, TABLES, UNKNOWN, TableName
from survstats.records.copied import copied_mishaps, own_times
from survstats.records.deriving import died, looked_up_for_survivors, survived, training_known
from survstats.records.rules.rule import Evidence, Hit, Rule

FEWEST_EXACT = 20  # times of the study
MOST_HEAPED = 0.6
LEAST_KNOWN_OF_SURVIVORS, MOST_KNOWN_OF_DEAD = 0.8, 0.5
FEWEST_MISHAPS_ALIKE = 3
RARER_THAN = 0.05
_OF_THE_DEAD = (
    "days_to_death",
    "cause_of_death",
    "cause_source",
    "body_location",
    "t_death_lo_s",
    "t_death_hi_s",
)
_OF_WHO_GOT_OUT = ("egress_lo_s", "egress_hi_s", "egress_time_source", "exit_used", "exit_opened_by")
_OF_THE_TRAINED = ("training_type", "training_last_date", "training_date_precision", "training_evidence")
_OF_RUNS_OUT = ("time_out_s", "time_out_precision_s")
_OF_TWICE_CODED = ("impact_survivability_second", "impact_severity_second")


def _copied(evidence: Evidence) -> list[Hit]:
    occupant = evidence.studied_occupant
    frame = occupant.assign(survived=survived(occupant).astype(int))
    hits = []
    for mishap in copied_mishaps(frame):
        theirs = frame[own_times(frame) & (frame["mishap_id"] == mishap)]
        first = theirs.iloc[0]
        seen = f"{first['egress_lo_s']:g} to {first['egress_hi_s']:g} s"
        seen += f" for all {len(theirs)} timed survivors of {mishap}"
        at = int(theirs.index[0])
        hits.append(Hit("occupant", at, "egress_lo_s", seen, "times taken from each survivor"))
    return hits


def _rounded(evidence: Evidence) -> list[Hit]:
    """Only times that claim to be exact (no span) are held against: a span says itself how unsure it is.

    How many spans end at whole tens is told, but for those that a person's own guess was turned into.
    """
    occupant = evidence.studied_occupant
    low, high = occupant["egress_lo_s"], occupant["egress_hi_s"]
    exact = low[(low == high) & (low < np.inf)]
    ends = high[(low < high) & (high < np.inf) & ~occupant["egress_time_source"].eq("self_estimate")]
    heaped = int((exact % 5 == 0).sum())
    hits = []
    if len(exact) >= FEWEST_EXACT and heaped > MOST_HEAPED * len(exact):
        seen = f"{heaped} of {len(exact)} exact times are a multiple of 5 s"
        hits.append(Hit("occupant", None, "egress_lo_s", seen, "about one in five"))
    if len(ends) >= FEWEST_EXACT:
        seen = f"{int((ends % 10 == 0).sum())} of {len(ends)} ends of spans are a multiple of 10 s"
        hits.append(Hit("occupant", None, "egress_hi_s", seen, "", "statement"))
    return hits


def _survivors_looked_up(evidence: Evidence) -> list[Hit]:
    """By what is known, or because the records say so of every mishap."""
    occupant = evidence.studied_occupant
    dead, lived, known = died(occupant), survived(occupant), training_known(occupant)
    if not dead.any() or not lived.any():
        return []
    said = looked_up_for_survivors(evidence.mishap[evidence.studied_mishap])
    seems = known[lived].mean() >= LEAST_KNOWN_OF_SURVIVORS and known[dead].mean() < MOST_KNOWN_OF_DEAD
    if not (said or seems):
        return []
    seen = f"known for {known[lived].sum()} of {lived.sum()} survivors and {known[dead].sum()} of {dead.sum()} dead"
    return [Hit("occupant", None, "training_ever", seen, "training looked up for the dead as well")]


def _unknown_gap(evidence: Evidence) -> list[Hit]:
    occupant = evidence.studied_occupant
    dead, lived, known = died(occupant), survived(occupant), training_known(occupant)
    unknown_dead, unknown_alive = int((~known[dead]).sum()), int((~known[lived]).sum())
    n_dead, n_alive = int(dead.sum()), int(lived.sum())
    seen = f"training unknown for {unknown_dead} of {n_dead} dead and {unknown_alive} of {n_alive} survivors"
    if n_dead and n_alive:
        gap = 100 * (unknown_dead / n_dead - unknown_alive / n_alive)
        seen += f", a gap of {gap:+.1f} points"
    return [Hit("occupant", None, "training_ever", seen, "")]


def _all_dead_alike(evidence: Evidence) -> list[Hit]:
    """Only where so many dead alike would be rare, were training dealt out among all of them by lot."""
    occupant = evidence.studied_occupant
    recorded = occupant[occupant["training_ever"].isin(["yes", "no"])]
    dead, ever = recorded[died(recorded)], recorded["training_ever"]
    among_dead = dead["training_ever"].unique()
    if len(among_dead) != 1 or dead["mishap_id"].nunique() < FEWEST_MISHAPS_ALIKE:
        return []
    known = recorded[died(recorded) | survived(recorded)]
    alike = int((ever[known.index] == among_dead[0]).sum())
    chance = math.exp(_log_ways(alike, len(dead)) - _log_ways(len(known), len(dead)))
    if chance >= RARER_THAN:
        return []
    seen = (
        f"{among_dead[0]} for every one of {len(dead)} dead, in {dead['mishap_id'].nunique()} mishaps, and for "
        f"{alike - len(dead)} of {len(known) - len(dead)} survivors; by lot this would be seen {_rarity(chance)}"
    )
    return [Hit("occupant", None, "training_ever", seen, "training entered without knowing who lived")]


def _log_ways(n: int, k: int) -> float:
    """Logarithm of the number of ways to choose k of n."""
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def _rarity(chance: float) -> str:
    return f"{100 * chance:.1f} times in 100" if chance >= 0.001 else "less than once in 1,000"


def _told_by_different_people(evidence: Evidence) -> list[Hit]:
    occupant = evidence.studied_occupant
    basis = occupant["training_evidence"]
    known = training_known(occupant) & basis.notna()
    of_dead, of_alive = basis[died(occupant) & known], basis[survived(occupant) & known]
    if of_dead.empty or of_alive.empty:
        return []
    if not ((of_alive == "self_report").all() and (of_dead == "next_of_kin").all()):
        return []
    seen = "self_report for all survivors, next_of_kin for all the dead"
    return [Hit("occupant", None, "training_evidence", seen, "the same kind of evidence for both")]


def _unknown_and_empty(evidence: Evidence) -> list[Hit]:
    """Counted are the rows to which a field applies: nobody asks a survivor for the days to death."""
    hits = []
    for table in TABLES:
        for name, column in evidence.records.raw[table].items():
            texts = column.to_numpy(object)[_applies(evidence, table, str(name))]
            unknown, empty = np.count_nonzero(texts == UNKNOWN), np.count_nonzero(texts == NOT_COLLECTED)
            if unknown and empty:
                hits.append(Hit(table, None, str(name), f"{unknown} unknown and {empty} not collected", ""))
    return hits or [Hit("occupant", None, "", "no field holds both unknown and empty cells", "")]


def _applies(evidence: Evidence, table: TableName, name: str) -> NDArray[np.bool_]:
    if table == "training_run":
        run = evidence.training_run
        out = run["result"].isin(["passed", "assisted"]).to_numpy(bool)
        return out if name in _OF_RUNS_OUT else np.ones(len(run), dtype=bool)
    if table == "mishap":
        twice = evidence.mishap["second_coder_id"].notna().to_numpy(bool)
        return evidence.studied_mishap & twice if name in _OF_TWICE_CODED else evidence.studied_mishap
    occupant = evidence.occupant
    if name in _OF_THE_DEAD:
        asked = died(occupant)
    elif name in _OF_WHO_GOT_OUT:
        asked = occupant["egress_outcome"] != "not_egressed"
    elif name in _OF_THE_TRAINED:
        asked = occupant["training_ever"] != "no"
    else:
        return evidence.studied
    return evidence.studied & asked.to_numpy(bool)


def _alone(evidence: Evidence) -> list[Hit]:
    rows = evidence.studied_occupant.groupby("mishap_id").size()
    seen = f"{int((rows == 1).sum())} of {int(evidence.studied_mishap.sum())} mishaps have one occupant row"
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
