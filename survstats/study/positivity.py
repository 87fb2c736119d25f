"""In which eras, and in which kinds of people, is one of the groups compared missing, by id?"""

from __future__ import annotations

import pandas as pd

from survstats.effects.overlap import empty_cells
from survstats.study.counting import COMPARED
from survstats.study.estimating import ERA, EXPOSURE
from survstats.study.results_builder import People, ResultsBuilder, people

_KIND = ("role", "aircraft_class", ERA)


def store_positivity(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    """How many of those compared were trained and never trained in each era, and the kinds that lack one group.

    In the kinds of people listed (role, class of aircraft, era) the model speaks where nobody was seen.
    """
    told = frame[list(_KIND)].astype(object)
    kinds = told.where(told.notna(), "unknown").astype(str)
    who = frame[["file_row", EXPOSURE]]
    out.table(
        "era_positivity",
        ("era", "trained", "untrained"),
        [(era, *_arms(group)) for era, group in who.groupby(kinds[ERA])],
        rests_on=COMPARED,
    )
    found = empty_cells(frame, exposure=EXPOSURE, role="role", aircraft_class="aircraft_class", era=ERA)
    places = kinds.groupby(list(_KIND)).indices
    rows = [(cell, who.iloc[places[cell]]) for cell in found[list(_KIND)].itertuples(index=False, name=None)]
    out.table(
        "empty_cells",
        ("role", "aircraft_class", "era", "trained", "untrained"),
        [(*cell, *_arms(inside)) for cell, inside in rows],
        rests_on=COMPARED,
    )
    everyone = frozenset[int]().union(*(people(inside["file_row"]).rows for _, inside in rows))
    out.count_people("overlap.one_sided", People(everyone))


def _arms(frame: pd.DataFrame) -> tuple[People, People]:
    """The trained and the never trained among some people."""
    trained, untrained = (people(frame.loc[frame[EXPOSURE] == value, "file_row"]) for value in (1, 0))
    return trained, untrained
