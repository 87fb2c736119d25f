"""Who is compared in a listed choice, who counts as trained there, and what is held equal?

Every population is written as numbers once; a choice then takes the rows and columns it needs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.challenge.choice_list import Choice, listed_choices
from survstats.challenge.verdict import thresholds
from survstats.effects.completed_sets import Question
from survstats.effects.imputation import Imputed
from survstats.effects.missing_values import UNKNOWN
from survstats.effects.question import COVARIATES, EXPOSURE, OUTCOME
from survstats.effects.risk_model import refuse_thin
from survstats.groundwork.errors import NotEstimable
from survstats.models.design import build_design, fill_gaps

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

STATUS = "trained_status"

#: Statuses that count as trained, and those they are held against; people of any other stand in neither group.
EXPOSURES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "current_v_never": (("current",), ("none",)),
    "ever_v_never": (("current", "lapsed"), ("none",)),
    "current_v_never_or_briefed": (("current",), ("none", "briefing_or_dry_only")),
    "current_v_not_current": (("current",), ("lapsed", "none", "briefing_or_dry_only")),
}

#: What is held equal, made from what the study holds equal among the same people.
HELD: dict[str, Callable[[Sequence[str]], tuple[str, ...]]] = {
    "study": tuple,
    "none": lambda _listed: (),
    "causes_of_training": lambda listed: tuple(
        n for n in listed if COVARIATES.get(n) in ("role", "operator")
    ),
    "without_seat_and_kit": lambda listed: tuple(
        n for n in listed if COVARIATES.get(n) not in ("seat", "equipment")
    ),
    "with_others_aboard": lambda listed: (*listed, "coverage_others"),
    "with_era": lambda listed: tuple(dict.fromkeys([*listed, "era"])),
}


@dataclass(frozen=True)
class Field:
    """A covariate as numbers.

    Attributes
    ----------
    columns : tuple of str
        Its columns among those of the population.
    gap_column : str or None
        The one that marks gaps of a number.
    known : ndarray of shape (m, n)
        Whose value is recorded; that it is ``unknown`` is no value.
    """

    columns: tuple[str, ...]
    gap_column: str | None
    known: Bools


@dataclass(frozen=True)
class Coded:
    """Everyone in a population as numbers, m times where training was drawn, else once.

    Attributes
    ----------
    rows : ndarray of shape (m, n, c)
    columns : tuple of str
        Outcome, mishap, exposure (to be written in), then those of the fields.
    fields : mapping of str to Field or NotEstimable
        What each covariate is, or why it cannot be used.
    status : ndarray of shape (m, n)
        Place in ``statuses``; -1 for none.
    statuses : tuple of str
    """

    rows: Floats
    columns: tuple[str, ...]
    fields: Mapping[str, Field | NotEstimable]
    status: NDArray[np.int64]
    statuses: tuple[str, ...]

    def only(self, who: Bools) -> Coded:
        """The same of some people (n,) alone."""
        fields = {
            name: field if isinstance(field, NotEstimable) else replace(field, known=field.known[:, who])
            for name, field in self.fields.items()
        }
        return replace(self, rows=self.rows[:, who], status=self.status[:, who], fields=fields)


@dataclass(frozen=True)
class People:
    """Those a choice is about.

    Attributes
    ----------
    frames : tuple of m DataFrames
        n rows each, all numbers.
    groups : ndarray of shape (m, n)
        1 trained, 0 not, NaN in neither group.
    question : Question
    """

    frames: tuple[pd.DataFrame, ...]
    groups: Floats
    question: Question


def code_all(
    populations: Mapping[str, pd.DataFrame],
    covariates: Mapping[str, tuple[str, ...]],
    imputed: Imputed | NotEstimable | None,
    cluster: str,
) -> dict[tuple[str, bool], Coded | NotEstimable]:
    """The people of all listed choices as numbers, by population and whether training was drawn.

    Where no status is unknown the drawn rows are the rows themselves; where some are and were not drawn, it is why not.
    """
    plain = dict.fromkeys(one.population for one in listed_choices())
    parts: dict[tuple[str, bool], Sequence[pd.DataFrame]] = {
        (name, False): [populations[name]] for name in plain
    }
    if isinstance(imputed, Imputed):
        parts["P1", True] = imputed.frames
    held = dict.fromkeys(
        name for one in listed_choices() for name in HELD[one.covariates](covariates[one.population])
    )
    coded = _code(parts, tuple(held), cluster)
    found: dict[tuple[str, bool], Coded | NotEstimable] = {**coded}
    if isinstance(imputed, Imputed):
        who = imputed.frames[0]["is_passenger"].to_numpy(bool)
        found["passengers", True] = coded["P1", True].only(who)
        return found
    for name in ("P1", "passengers"):
        found[name, True] = coded[name, False]
        if (populations[name][STATUS] == UNKNOWN).any():
            found[name, True] = imputed or NotEstimable("not_imputed", "Unknown training was not drawn.")
    return found


def _code(
    parts: Mapping[tuple[str, bool], Sequence[pd.DataFrame]], covariates: Sequence[str], cluster: str
) -> dict[tuple[str, bool], Coded]:
    """Populations as numbers, all coded alike: a number's gaps are its mean and a mark, a category's a level."""
    columns = [OUTCOME, STATUS, *(name for name in covariates if name not in (OUTCOME, STATUS))]
    frames = [frame for of_part in parts.values() for frame in of_part]
    frames = [frame for frame in frames if len(frame)] or frames[:1]
    stacked = pd.concat([frame[columns] for frame in frames], ignore_index=True)
    fields: dict[str, Field | NotEstimable] = {}
    made = [np.empty((len(stacked), 0))]
    names = [OUTCOME, cluster, EXPOSURE]
    for name in covariates if len(stacked) else ():
        try:
            field, matrix = _field(stacked, name)
        except NotEstimable as fault:
            fields[name] = fault
            continue
        fields[name] = field
        names += field.columns
        made.append(matrix)
    status, rows = pd.Categorical(stacked[STATUS]), np.column_stack(made)
    outcome = stacked[OUTCOME].to_numpy(float)
    found, start = {}, 0
    for which, of_part in parts.items():
        m, n = len(of_part), len(of_part[0])
        mishap = np.tile(pd.factorize(of_part[0][cluster], sort=True)[0], m)
        here = slice(start, start := start + m * n)
        base = np.column_stack([outcome[here], mishap, np.zeros(m * n), rows[here]])
        found[which] = Coded(
            rows=base.reshape(m, n, base.shape[1]),
            columns=tuple(names),
            fields={name: _in_shape(field, here, (m, n)) for name, field in fields.items()},
            status=status.codes[here].astype(np.int64).reshape(m, n),
            statuses=tuple(str(one) for one in status.categories),
        )
    return found


def _in_shape(field: Field | NotEstimable, rows: slice, shape: tuple[int, int]) -> Field | NotEstimable:
    """A field of some of the stacked rows alone."""
    if isinstance(field, NotEstimable):
        return field
    return replace(field, known=field.known[rows].reshape(shape))


def _field(stacked: pd.DataFrame, name: str) -> tuple[Field, Floats]:
    """A covariate's columns over all rows, without those that say the same as others of its own."""
    filled = fill_gaps(stacked[[name]], [name])
    design = build_design(filled.frame, filled.terms)
    columns = tuple(f"{name} {column}" for column in design.columns[1:])
    mark = f"{name} {name}_missing"
    known = (stacked[name].notna() & stacked[name].ne(UNKNOWN)).to_numpy(bool)
    return Field(columns, mark if mark in columns else None, known), design.matrix[:, 1:]


def people_of(choice: Choice, coded: Coded, covariates: Sequence[str], cluster: str) -> People:
    """The rows and columns of one choice, and in which group everybody stands there.

    Raises
    ------
    NotEstimable
        As `refuse_thin`; ``few_mishaps`` where no model would be made, ``missing_value`` where a number is known of
        nobody compared.
    """
    trained, against = EXPOSURES[choice.exposure]
    of_status = [1.0 if name in trained else 0.0 if name in against else np.nan for name in coded.statuses]
    groups = np.array([*of_status, np.nan])[coded.status]
    held = [coded.fields[name] for name in HELD[choice.covariates](covariates) if name in coded.fields]
    usable = [one for one in held if isinstance(one, Field)]
    if choice.missing == "complete_rows":
        for one in usable:
            groups[~one.known] = np.nan
    frames = tuple(pd.DataFrame(rows, columns=list(coded.columns)) for rows in coded.rows)
    for frame, group in zip(frames, groups, strict=True):
        _refuse_few(frame, group, cluster)
    for field in held:
        if isinstance(field, NotEstimable):
            raise field
        if field.gap_column is not None:
            gap = coded.rows[:, :, coded.columns.index(field.gap_column)] == 1
            if (gap | np.isnan(groups)).all(axis=1).any():
                raise NotEstimable("missing_value", "A field is missing in every row.", "Leave the term out.")
    columns = tuple(column for one in usable for column in one.columns)
    return People(frames, groups, Question(OUTCOME, EXPOSURE, columns, cluster))


def _refuse_few(frame: pd.DataFrame, group: Floats, cluster: str) -> None:
    """Stop where no model would stand on the page, and before it where nothing can be compared at all."""
    compared = np.isfinite(group)
    mishaps = len(np.unique(frame[cluster].to_numpy()[compared]))
    if mishaps < int(thresholds()["model"]["fewest_mishaps"]):
        refuse_thin(frame.assign(**{EXPOSURE: group})[compared], OUTCOME, EXPOSURE, cluster)
        raise NotEstimable("few_mishaps", f"{mishaps} mishaps are too few for a model.")
