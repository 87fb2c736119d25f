"""What may stand under ``[[other_study]]``: a table that others published, and what must be known to weigh it.

Where the training of the dead is told it is one table, or one for each circumstance (``[[other_study.stratum]]``);
where survivors alone were asked it is their training and how many died.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Annotated

from pydantic import BaseModel, Field

from survstats.decision.publication import Bias, Counts, Publication
from survstats.groundwork.errors import StudyFileError
from survstats.study.plan_entries import STRICT, Label, Line, Source, Word

MOST_STUDIES, MOST_STRATA = 30, 12
People = Annotated[int, Field(ge=0, le=10_000_000)]
_CELLS = ("trained_lived", "trained_died", "untrained_lived", "untrained_died")
_WHOLE = "Give trained_lived, trained_died, untrained_lived and untrained_died"


class StratumPlan(BaseModel):
    """The people of a publication whose circumstances were alike."""

    model_config = STRICT

    name: Label
    trained_lived: People
    trained_died: People
    untrained_lived: People
    untrained_died: People


class OtherStudyPlan(BaseModel):
    """A publication, or a table of somebody else's.

    ``overlap`` is a name shared by publications of the same mishaps; ``same_mishaps`` says that its mishaps stand in
    these records too. ``died`` counts the dead where only survivors' training is told.
    """

    model_config = STRICT

    name: Label
    source: Source
    population: Word
    currency: Word
    risk_of_bias: Bias
    overlap: Line = ""
    same_mishaps: bool = False
    trained_lived: People | None = None
    trained_died: People | None = None
    untrained_lived: People | None = None
    untrained_died: People | None = None
    died: People | None = None
    stratum: Annotated[list[StratumPlan], Field(max_length=MOST_STRATA)] = []

    @property
    def cells(self) -> tuple[int | None, ...]:
        """The four counts, in order; None where one is not given."""
        return self.trained_lived, self.trained_died, self.untrained_lived, self.untrained_died

    @property
    def publication(self) -> Publication:
        """The same as what is pooled."""
        given = [value for value in self.cells if value is not None]
        whole = (Counts(*given),) if len(given) == len(_CELLS) else ()
        strata = tuple(Counts(*(getattr(one, name) for name in _CELLS)) for one in self.stratum)
        return Publication(
            name=self.name,
            strata=strata or whole,
            risk_of_bias=self.risk_of_bias,
            overlap=self.overlap,
            same_mishaps=self.same_mishaps,
        )


Refusal = tuple[tuple[str | int, ...], Callable[[], None]]


def evidence_refusals(studies: Sequence[OtherStudyPlan]) -> list[Refusal]:
    """What of the publications is to be tried, and under which key of the study file a fault stands."""
    tried: list[Refusal] = [(("other_study",), partial(refuse_many, studies))]
    for at, one in enumerate(studies):
        tried.append((("other_study", at, "name"), partial(refuse_twice, studies[: at + 1])))
        tried.append((("other_study", at, "name"), partial(refuse_counts, one)))
    return tried


def refuse_many(studies: Sequence[OtherStudyPlan]) -> None:
    """Refuse more publications than a page can list.

    Raises
    ------
    StudyFileError
        ``too_many_studies``.
    """
    if len(studies) > MOST_STUDIES:
        raise StudyFileError(
            "too_many_studies",
            f"There are {len(studies)} entries of [[other_study]].",
            f"At most {MOST_STUDIES} can be listed.",
        )


def refuse_twice(studies: Sequence[OtherStudyPlan]) -> None:
    """Refuse a publication whose name stands there already: the last of those given.

    Raises
    ------
    StudyFileError
        ``study_twice``.
    """
    name = studies[-1].name
    if any(one.name == name for one in studies[:-1]):
        raise StudyFileError(
            "study_twice",
            f"The other study '{name}' stands there twice.",
            "Give each table once; two reports of the same mishaps share a name under overlap.",
        )


def refuse_counts(one: OtherStudyPlan) -> None:
    """Refuse counts that are neither a whole table, nor strata of one, nor those of survivors alone.

    Raises
    ------
    StudyFileError
        ``two_tables``, ``half_a_table``, ``empty_group``.
    """
    given = [value is not None for value in one.cells]
    some = f"The other study '{one.name}'"
    if one.stratum and (any(given) or one.died is not None):
        raise StudyFileError(
            "two_tables", f"{some} has strata and counts of its own.", "Give one or the other, not both."
        )
    alone = one.died is not None and given == [True, False, True, False]
    if not one.stratum and not all(given) and not alone:
        raise StudyFileError(
            "half_a_table",
            f"{some} lacks counts.",
            f"{_WHOLE}, or, where only survivors were asked, trained_lived, untrained_lived and died.",
        )
    if all(given) and one.died is not None:
        raise StudyFileError(
            "two_tables", f"{some} gives all four counts, and died besides.", "Leave died out."
        )
    if alone:
        trained, untrained = one.trained_lived or 0, one.untrained_lived or 0
        empty = trained + untrained == 0 or not one.died
    else:
        strata = one.publication.strata
        empty = not any(table.trained and table.untrained for table in strata)
    if empty:
        raise StudyFileError(
            "empty_group",
            f"{some} has nobody in one of its groups, so it compares nobody.",
            "Leave it out; it says nothing of what training does.",
        )
