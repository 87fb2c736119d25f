"""Which plans are refused although every section alone is in order?"""

from __future__ import annotations

from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.words import did_you_mean
from survstats.study.plan_sections import AcceptedPlan, ModelPlan, PopulationPlan


def refuse_modifiers(model: ModelPlan) -> None:
    """Refuse modifiers that cannot be used, or a limit of cold water that is missing.

    Raises
    ------
    StudyFileError
        ``no_cold_water_c``; as of `survstats.effects.question.refuse_bad_modifiers`.
    """
    if "cold_water" in model.modifiers and model.cold_water_c is None:
        raise StudyFileError(
            "no_cold_water_c",
            "'cold_water' needs to know below how many degrees Celsius water is cold.",
            "Add the line cold_water_c = ... with that number to [model].",
        )
    if model.modifiers:
        from survstats.effects.question import refuse_bad_modifiers

        refuse_bad_modifiers(tuple(model.modifiers), tuple(model.covariates))


def refuse_years(chosen: PopulationPlan) -> None:
    """Refuse a last year before the first.

    Raises
    ------
    StudyFileError
        ``years_crossed``.
    """
    first, last = chosen.first_year, chosen.last_year
    if first is not None and last is not None and first > last:
        raise StudyFileError(
            "years_crossed",
            f"the last year of the population, {last}, comes before the first, {first}.",
            "Write the earlier of both as first_year.",
        )


def refuse_accepted(entries: list[AcceptedPlan]) -> None:
    """Refuse the last of the rules named so far.

    Raises
    ------
    StudyFileError
        ``unknown_rule``, ``not_acceptable``, ``rule_twice``.
    """
    from survstats.records.rules.rulebook import RULEBOOK

    rule = entries[-1].rule
    may = [name for name, card in RULEBOOK.items() if card.acceptable]
    if rule not in RULEBOOK:
        hint = did_you_mean(rule, may, otherwise=f"Those that can be accepted: {', '.join(may)}.")
        raise StudyFileError("unknown_rule", f"there is no rule '{rule}'.", hint)
    if rule not in may:
        raise StudyFileError(
            "not_acceptable",
            f"rule {rule} ({RULEBOOK[rule].title}) cannot be accepted.",
            "Mend the records, or take it out.",
        )
    if rule in [entry.rule for entry in entries[:-1]]:
        raise StudyFileError("rule_twice", f"rule {rule} is accepted twice.", "Put both reasons into one.")
