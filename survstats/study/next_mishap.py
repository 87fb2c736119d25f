"""Which single new mishap, the most telling there could be, would give these records another word?

An extreme mishap is added to the records and judged with them: as many aboard as in the largest survivable mishap so
far, every paper there, everyone alive when the water came; of each role half trained and half never. Told for: every
trained person lives and, of the others, none, a quarter or half. Told against: the other way round. The milder ones are
tried since a mishap unlike all others widens the interval as well as moving it. Others than these are not tried.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np
import pandas as pd

from survstats.challenge.verdict import Interval, Verdict, thresholds
from survstats.effects.risk_model import refit
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable
from survstats.records.cohort import build_cohort
from survstats.records.deriving import derive
from survstats.records.loading import Records
from survstats.records.population import studied_mishaps
from survstats.study.estimating import model_of
from survstats.study.everybody import everybody
from survstats.study.judge import judge
from survstats.study.plan import Study
from survstats.study.results_builder import ResultsBuilder

Side = Literal["for", "against"]

#: How many such mishaps in a row are tried, in this order, until the word changes.
TRIED = (1, 2, 3)
#: The share of the group that fares worse which lives all the same: what is tried at each number of mishaps.
LIVING = (0.0, 0.25, 0.5)
#: Of the makes whose interval leaves a word possible, at each number so many are judged, the nearest to a word first.
_JUDGED = 2
_SURVIVABLE = ("survivable", "partially_survivable")
_DAYS_SINCE_COURSE = 30
_LEAST_ABOARD = 2
_NO_WORD = ("cannot_tell", "none")


@dataclass(frozen=True)
class NextMishap:
    """What mishaps of one kind would do to the word.

    Attributes
    ----------
    side : {"for", "against"}
        Which group lives in them.
    people : int
        How many are aboard each.
    word, direction : str
        After one of them, of the make that changes it if any does.
    needed : int or None
        The fewest of those tried after which the word, or what it is about, is another; None where none changed it.
    needed_word, needed_direction : str
        What it says then; as it was where none changed it.
    tried : int
        The most that were tried; 0 where nothing stronger could be said and none were.
    """

    side: Side
    people: int
    word: str
    direction: str
    needed: int | None
    needed_word: str
    needed_direction: str
    tried: int


def next_mishaps(
    study: Study, records: Records, now: Verdict, *, banners: tuple[str, ...] = ()
) -> tuple[NextMishap, ...]:
    """What extreme next mishaps would do, for training and against it; empty where there is none to go by.

    Parameters
    ----------
    study : Study
    records : Records
    now : Verdict
        What the records say without them.
    banners : tuple of str, optional
        As `survstats.study.judge.judge`.

    Notes
    -----
    Where the interval leaves a word possible they are judged as any study is, draws of unknown training included. The
    new mishaps fall on days on which no other of the study did, with the operator, class, sea and seats of the one
    they are modelled on.
    """
    like = _like(study, records)
    if like is None:
        return ()
    sides: tuple[Side, ...] = ("for", "against")
    return tuple(_told(study, records, now, like, side, banners) for side in sides)


def _told(
    study: Study, records: Records, now: Verdict, like: str, side: Side, banners: tuple[str, ...]
) -> NextMishap:
    def judged(count: int, living: float) -> tuple[str, str]:
        return _judged(study, added(count=count, living=living), banners)

    people = int((records.occupant["mishap_id"] == like).sum())
    added = partial(with_mishaps, records, like, side=side)
    found: list[tuple[str, str]] = []
    needed = None
    if _may_move(now, side):
        compared = {living: _compared(study, added(count=TRIED[-1], living=living)) for living in LIVING}
        for count in TRIED:
            about = {
                living: _interval_of(study, _first_of(compared[living], records, count)) for living in LIVING
            }
            said = _words(about, side, partial(judged, count))
            found.append(next((one for one in said if one != _said(now)), _said(now)))
            if found[-1] != _said(now):
                needed = count
                break
    first, last = (found[0], found[-1]) if found else (_said(now), _said(now))
    tried = needed or (TRIED[-1] if found else 0)
    return NextMishap(side, people, *first, needed, *last, tried)


def _words(
    about: Mapping[float, Interval | None], side: Side, judged: Callable[[float], tuple[str, str]]
) -> Iterator[tuple[str, str]]:
    """What is said after so many mishaps of each make, until nobody asks; judged are those nearest to a word alone."""
    possible = [living for living, one in about.items() if not _no_word_by_interval(one)]
    for living in sorted(possible, key=lambda living: _short_of_a_word(about[living], side))[:_JUDGED]:
        yield judged(living)
    if len(possible) < len(about):
        yield _NO_WORD


def _short_of_a_word(about: Interval | None, side: Side) -> float:
    """How far the limit that must pass 0 lies short of it, below 0 beyond; without an interval as far as can be."""
    if about is None or about.low is None or about.high is None:
        return np.inf
    return -about.low if side == "for" else about.high


def _may_move(now: Verdict, side: Side) -> bool:
    """Whether such mishaps could change the word: what is said as strongly as can be only loses by the other side."""
    strongest = {("supports", "benefit"): "for", ("supports", "harm"): "against"}
    return strongest.get((now.word, now.direction)) != side


def _judged(study: Study, records: Records, banners: tuple[str, ...]) -> tuple[str, str]:
    out = ResultsBuilder()
    return _said(judge(out, study, everybody(study, records), banners=banners, whole=False).verdict)


def _compared(study: Study, records: Records) -> pd.DataFrame:
    """Who is compared in the primary population."""
    chosen = study.population
    derived = derive(records, currency_months=study.plan.question.currency_months, population=chosen)
    return build_cohort(derived, records, population="P1", chosen=chosen).analysed


def _first_of(compared: pd.DataFrame, before: Records, count: int) -> pd.DataFrame:
    """Those compared, without the new mishaps after the first so many."""
    new = compared["mishap_id"].astype(str)
    names = [name for name in dict.fromkeys(new) if name not in set(before.mishap["mishap_id"].astype(str))]
    return compared[~new.isin(sorted(names)[count:])]


def _interval_of(study: Study, compared: pd.DataFrame) -> Interval | None:
    """The interval of the difference among those compared; None where it cannot be estimated."""
    try:
        model = model_of(compared, study.covariates)
        found = standardise(refit(model), level=thresholds()["beyond_chance"]["met_level"]).difference
    except NotEstimable:
        return None
    return Interval(found.low, found.high, study.plan.question.smallest_worthwhile_points / 100)


def _no_word_by_interval(about: Interval | None) -> bool:
    """Whether it covers 0 and is not wholly smaller than worthwhile: no gate can earn a word then."""
    return about is not None and about.rule == "sign" and about.direction == "none"


def _said(verdict: Verdict) -> tuple[str, str]:
    """The word and what it is about; without a word there is nothing it is about."""
    return _NO_WORD if verdict.word == "cannot_tell" else (verdict.word, verdict.direction)


# ---- the mishaps ---------------------------------------------------------------------------------


def _like(study: Study, records: Records) -> str | None:
    """The largest survivable mishap that the study is about, by rows; the first by name of several."""
    chosen = records.mishap[studied_mishaps(records.mishap, study.population)]
    chosen = chosen[chosen["impact_survivability"].isin(_SURVIVABLE) & chosen["event_date"].notna()]
    roles = study.population.roles
    aboard = records.occupant[records.occupant["mishap_id"].isin(chosen["mishap_id"])]
    aboard = aboard[aboard["role"].isin(roles)] if roles else aboard
    sizes = aboard.groupby("mishap_id", observed=True).size()
    if sizes.empty or sizes.max() < _LEAST_ABOARD:
        return None
    return str(sorted(sizes.index[sizes == sizes.max()].astype(str))[0])


def with_mishaps(records: Records, like: str, *, side: Side, count: int, living: float = 0.0) -> Records:
    """The records with so many more extreme mishaps of one make, modelled on one of them.

    Parameters
    ----------
    records : Records
    like : str
        ``mishap_id`` of the one they are modelled on.
    side : {"for", "against"}
    count : int
    living : float, optional
        The share of the group that fares worse which lives all the same.
    """
    home = records.mishap["mishap_id"].astype(str).eq(like).to_numpy()
    rows = records.occupant["mishap_id"].astype(str).eq(like).to_numpy()
    mishap, occupant = [records.mishap], [records.occupant]
    for name, day in _named_days(records, like, count):
        one = records.mishap[home].head(1)
        mishap.append(
            _set(one, mishap_id=name, event_date=day, impact_survivability="survivable", coded_blind="yes")
        )
        people = _set(records.occupant[rows], mishap_id=name)
        occupant.append(_fates(people, day, side, living))
    return replace(
        records,
        mishap=pd.concat(mishap, ignore_index=True),
        occupant=_unlike_rows(pd.concat(occupant, ignore_index=True)),
    )


def _named_days(records: Records, like: str, count: int) -> Iterator[tuple[str, pd.Timestamp]]:
    """Names that no mishap has, and days near that of the model, in its year, on which nothing else happened."""
    mishap = records.mishap
    taken = set(mishap["event_date"].dropna())
    names = set(mishap["mishap_id"].astype(str))
    day = pd.Timestamp(mishap.loc[mishap["mishap_id"].astype(str) == like, "event_date"].iloc[0])
    year = pd.date_range(f"{day.year}-01-01", f"{day.year}-12-31", freq="D")
    free = [one for one in year if one not in taken]
    for at in range(count):
        name = f"next {at + 1}"
        while name in names:
            name += "."
        yield name, free[at]


def _fates(people: pd.DataFrame, day: pd.Timestamp, side: Side, living: float) -> pd.DataFrame:
    """Every other person of a role trained a month ago, the rest never; one group lives, of the other each so many."""
    order = people.sort_values(["role", "seats_to_exit"], kind="stable").index
    trained = pd.Series(np.arange(len(order)) % 2 == 0, index=order).reindex(people.index).to_numpy()
    lives = trained if side == "for" else ~trained
    others = pd.Series(~lives, index=people.index).reindex(order)
    so_far = np.floor(others.cumsum() * living)
    spared = others & so_far.diff().fillna(so_far).gt(0)
    lives = lives | spared.reindex(people.index).to_numpy()
    course = day - pd.Timedelta(days=_DAYS_SINCE_COURSE)
    return _set(
        people,
        training_ever=np.where(trained, "yes", "no"),
        training_type=np.where(trained, "underwater_escape", "none"),
        training_last_date=pd.Series([course if one else pd.NaT for one in trained], index=people.index),
        training_date_precision=np.where(trained, "day", "na"),
        training_evidence=np.where(trained, "certificate", "roster"),
        alive_at_immersion="yes",
        outcome=np.where(lives, "survived", "died"),
        days_to_death=np.where(lives, np.nan, 0.0),
        cause_of_death=np.where(lives, "na", "drowning_inside"),
    )


def _set(frame: pd.DataFrame, **values: object) -> pd.DataFrame:
    """The same rows with other values in some columns, each of the type it had."""
    changed = frame.copy()
    for name, value in values.items():
        kind = frame[name].dtype
        changed[name] = pd.Series(value, index=frame.index).astype(kind)
    return changed


def _unlike_rows(occupant: pd.DataFrame) -> pd.DataFrame:
    """File rows of their own for the new people, beyond the last of the file."""
    again = occupant["file_row"].duplicated()
    rows = occupant["file_row"].to_numpy().copy()
    rows[again] = rows.max() + 1 + np.arange(int(again.sum()))
    return occupant.assign(file_row=rows)
