"""Do the records as a whole look as if training was written down apart from who lived?"""

from __future__ import annotations

from survstats.records.deriving import died, training_known
from survstats.records.rules import Evidence, Hit, Rule


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


STUDY_RULES = (
    Rule("R38", "warning", "look up training for everyone aboard, from the roster", _survivors_looked_up),
    Rule("R39", "statement", "the smaller the gap, the more the records can carry", _unknown_gap),
    Rule(
        "R40", "warning", "have training coded again by someone who does not know who lived", _all_dead_alike
    ),
    Rule("R41", "warning", "take both from certificates or rosters", _told_by_different_people),
)
