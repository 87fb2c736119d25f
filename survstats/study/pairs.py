"""What the difference would be without and with the seat, the breathing set, where training can move them, by id."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survstats.effects.mediators import mediators
from survstats.effects.standardise import Effect, standardise
from survstats.study.counting import COMPARED
from survstats.study.estimating import model_of
from survstats.study.results_builder import People, ResultsBuilder, people

#: By node of the graph: the name in ``effect.rd_with_<name>``, in ``pairs.<name>_people``, and the field added where
#: the study adjusts for none.
_PAIRS = {
    "SEAT": ("seat", "seat", "far_seat"),
    "PPE": ("breathing_set", "breathing", "ebs_issued"),
}
#: What decides, mishap by mishap, whether training can have moved the seat or the set.
_RULES = ("seat_choice", "ebs_issued_regardless_of_training")


def store_pairs(
    out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str], *, whole: Effect | None
) -> None:
    """Both pairs, and for how many people the rule by which seats or sets went is recorded so, or not at all."""
    moved = {one.node: one for one in mediators(frame)}
    who = _who(frame)
    for node, (name, short, added) in _PAIRS.items():
        for kind in ("people", "unknown"):
            out.count_people(f"pairs.{short}_{kind}", People(who[node, kind]))
        fields = moved[node].fields if node in moved else ()
        store_pair(out, frame, covariates, name=name, fields=fields, added=added, whole=whole)


def _who(frame: pd.DataFrame) -> dict[tuple[str, str], frozenset[int]]:
    """The rows behind the counts of `mediators`, by node and whether the circumstance is known.

    People of mishaps in which the same is recorded are counted all or none.
    """
    issued = frame["ebs_issued"].eq("yes").groupby(frame["mishap_id"]).transform("any")
    alike = [frame[name].astype(object).fillna("unknown") for name in _RULES]
    found = {(node, kind): frozenset[int]() for node in _PAIRS for kind in ("people", "unknown")}
    for _, inside in frame.groupby([*alike, issued]):
        rows = people(inside["file_row"]).rows
        for one in mediators(inside):
            for kind, size in (("people", one.people), ("unknown", one.unknown_people)):
                found[one.node, kind] |= rows if size else frozenset()
    return found


def store_pair(
    out: ResultsBuilder,
    frame: pd.DataFrame,
    covariates: Sequence[str],
    *,
    name: str,
    fields: Sequence[str],
    added: str,
    whole: Effect | None,
) -> None:
    """The primary estimate without and with a group of fields that training can move.

    Parameters
    ----------
    out : ResultsBuilder
    frame : DataFrame
    covariates : sequence of str
    name : str
        As in ``effect.rd_with_<name>``.
    fields : sequence of str
        The group; empty where training cannot have moved it in these records, and then there is no pair.
    added : str
        What is added where the study adjusts for none of them.
    whole : Effect or None
        The main estimate, which is one of the two where the study adjusts for any of them.
    """
    names = {kind: f"effect.rd_{kind}_{name}" for kind in ("without", "with")}
    if not fields:
        out.leave_out("not_moved", *names.values())
        return
    without = tuple(field for field in covariates if field not in fields)
    chosen = {
        "without": without,
        "with": (*covariates, added) if without == tuple(covariates) else covariates,
    }
    for kind, held in chosen.items():
        if held is covariates and whole is not None:
            out.estimate(names[kind], whole.difference, rests_on=COMPARED)
        elif kind == "with" and added in held and frame[added].nunique() < 2:
            out.leave_out("no_free_column", names[kind])
        else:
            with out.or_absent(names[kind]):
                found = standardise(model_of(frame, held)).difference
                out.estimate(names[kind], found, rests_on=COMPARED)
