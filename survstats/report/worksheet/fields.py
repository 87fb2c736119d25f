"""Which figures may the reader change, and where does each of the study's come from?"""

from __future__ import annotations

from survstats.report.content import Piece, Text
from survstats.report.lettering import join
from survstats.report.wording import Wording
from survstats.report.worksheet.content import FieldGroup, SheetField
from survstats.study.results import StudyResults

_ONE = 1.0
_PERCENT = 100.0
_MILLION = 1e6
_THOUSAND = 1e3
_OTHER = "other"
#: What stands beside the fee in the money for one course.
_ROUND_THE_COURSE = ("travel_cost", "cover_cost")


def field_groups(results: StudyResults, words: Wording, *, assumed: bool) -> tuple[FieldGroup, ...]:
    """Every field of the worksheet, in the order of the page.

    Parameters
    ----------
    results : StudyResults
    words : Wording
    assumed : bool
        Whether the reader assumes the gain, since the records do not carry it.
    """
    parts = [
        _policy(results, words),
        _people(results, words),
        _group(words, "flying", [_given(results, words, "hours_a_year")]),
        _group(words, "training", _training(results, words, assumed=assumed)),
        _group(words, "courses", _courses(results, words)),
        _group(words, "value", [_value_of_life(results, words)]),
    ]
    return tuple(part for part in parts if part.fields)


def _group(words: Wording, key: str, fields: list[SheetField]) -> FieldGroup:
    return FieldGroup(
        key, words.say(f"worksheet.{key}.title"), words.say(f"worksheet.{key}.lead"), tuple(fields)
    )


def start_from(results: StudyResults) -> int:
    """The policy that the page opens with: the first of the study that is not today's."""
    names = policy_names(results)
    return next((at for at, name in enumerate(names) if name != results.texts["decision.today"]), 0)


def policy_names(results: StudyResults) -> list[str]:
    """The policies of the study, in its order."""
    return _named(results, "policy")


def group_names(results: StudyResults) -> list[str]:
    """The groups of people, in the study's order."""
    return _named(results, "group")


def spend_names(results: StudyResults) -> list[str]:
    """The rival spends, in the study's order."""
    return _named(results, "spend")


def _named(results: StudyResults, kind: str) -> list[str]:
    names: list[str] = []
    while (name := f"{kind}.{len(names)}.name") in results.texts:
        names.append(results.texts[name])
    return names


def _policy(results: StudyResults, words: Wording) -> FieldGroup:
    chosen = start_from(results)
    longest = results.numbers.get("decision.longest_months")
    months = results.numbers.get(f"policy.{chosen}.months")
    limits = _limits(results, "months")
    fields = [
        SheetField(
            "months",
            "number",
            words.say("worksheet.policy.months"),
            months.value if months else None,
            unit=words.say("worksheet.unit.months"),
            told=words.say(f"worksheet.policy.{'longest' if longest else 'no_longest'}"),
            least=limits["least"],
            most=longest.value if longest else limits["most"],
        )
    ]
    if longest is None or any(
        f"policy.{at}.months" not in results.numbers for at in range(len(policy_names(results)))
    ):
        never = words.say("worksheet.policy.no_refresher")
        fields.append(SheetField("no_refresher", "tick", never, float(months is None)))
    for at in range(len(group_names(results))):
        share = results.numbers[f"policy.{chosen}.covered.{at}"].value
        label = words.say("worksheet.policy.covered", row=f"group.{at}")
        unit = words.say("worksheet.unit.percent")
        fields.append(
            SheetField(
                f"covered.{at}", "share", label, _typed(_PERCENT * share), unit=unit, least=0.0, most=_PERCENT
            )
        )
    bought = results.lists.get(f"policy.{chosen}.spends", ())
    for at, name in enumerate(spend_names(results)):
        label = words.say("worksheet.policy.spend", row=f"spend.{at}")
        told = words.say("worksheet.policy.spend_told", row=f"input.cost_a_year.{at}")
        fields.append(SheetField(f"bought.{at}", "tick", label, float(name in bought), told=told))
    names = tuple((Piece(name, f"policy.{at}.name"),) for at, name in enumerate(policy_names(results)))
    title, lead = words.say("worksheet.policy.title"), words.say("worksheet.policy.lead")
    return FieldGroup("policy", title, lead, tuple(fields), names, chosen)


def _people(results: StudyResults, words: Wording) -> FieldGroup:
    fields = []
    for at in range(len(group_names(results))):
        fields.append(
            _given(
                results, words, f"people.{at}", label=words.say("worksheet.people.people", row=f"group.{at}")
            )
        )
        label = words.say("worksheet.people.leavers", row=f"group.{at}")
        fields.append(_given(results, words, f"leavers_a_year.{at}", label=label, scale=_PERCENT))
    return _group(words, "people", fields)


def _training(results: StudyResults, words: Wording, *, assumed: bool) -> list[SheetField]:
    fields = []
    if assumed:
        fields.append(
            SheetField(
                "points",
                "number",
                words.say("worksheet.training.points"),
                _typed(_PERCENT * results.numbers["plan.smallest_worthwhile"].value),
                unit=words.say("worksheet.unit.points"),
                told=words.say("worksheet.training.points_told"),
                least=-_PERCENT,
                most=_PERCENT,
            )
        )
    return [*fields, _given(results, words, "half_life_months")]


def _courses(results: StudyResults, words: Wording) -> list[SheetField]:
    return [
        _round_the_course(results, words, "first_course_cost"),
        _round_the_course(results, words, "refresher_cost"),
        _given(results, words, "programme_cost_a_year"),
        _given(results, words, "deaths_per_course", scale=_MILLION),
        _given(results, words, "injuries_per_course", scale=_THOUSAND),
        _given(results, words, "injury_cost"),
    ]


def _typed(value: float) -> float:
    """A figure as somebody would type it: 7, and not 7.000000000000001."""
    return float(f"{value:.12g}")


def _given(
    results: StudyResults,
    words: Wording,
    name: str,
    *,
    label: Text | None = None,
    scale: float = _ONE,
) -> SheetField:
    """A field of one figure of the study file; ``scale`` is how many of the field's units one of the study's is."""
    kind = name.partition(".")[0]
    limits = _limits(results, kind)
    return SheetField(
        name,
        "number",
        label or words.say(f"worksheet.given.{kind}"),
        _typed(scale * results.numbers[f"input.{name}"].value),
        unit=words.say(f"worksheet.unit_of.{kind}"),
        told=_told(results, words, name, "source"),
        least=_typed(scale * limits["least"]),
        most=_typed(scale * limits["most"]),
        above=bool(limits["above"]),
        scale=scale,
    )


def _limits(results: StudyResults, kind: str) -> dict[str, float]:
    """``least``, ``most`` and ``above`` of a figure, as the study file must keep them."""
    table = results.tables["budget_bounds"]
    rows = {row[0]: row for row in table.rows}
    found = dict(zip(table.columns, rows.get(kind, rows[_OTHER]), strict=True))
    return {name: float(found[name] or 0) for name in ("least", "most", "above")}


def _round_the_course(results: StudyResults, words: Wording, name: str) -> SheetField:
    """What one course costs with travel and cover for whoever is away."""
    parts = [results.numbers[f"input.{part}"].value for part in (name, *_ROUND_THE_COURSE)]
    limits = _limits(results, name)
    told = join(words.say(f"worksheet.given.{name}_parts"), _told(results, words, name, "fee_source"))
    return SheetField(
        name,
        "number",
        words.say(f"worksheet.given.{name}"),
        _typed(sum(parts)),
        unit=words.say("worksheet.unit_of.money"),
        told=told,
        least=len(parts) * limits["least"],
        most=len(parts) * limits["most"],
    )


def _told(results: StudyResults, words: Wording, name: str, key: str) -> Text:
    """Who gave the study's figure, and how well it is known."""
    quality = words.say(f"worksheet.quality.{results.codes[f'input.{name}.quality']}")
    return (*words.say(f"worksheet.{key}", row=f"input.{name}"), Piece(" "), *quality, Piece("."))


def _value_of_life(results: StudyResults, words: Wording) -> SheetField:
    """Empty unless the study file gives one: there is no value of a life that we propose."""
    given = results.numbers.get("input.value_of_life")
    limits = _limits(results, "value_of_life")
    told = (
        _told(results, words, "value_of_life", "source") if given else words.say("worksheet.value.not_given")
    )
    return SheetField(
        "value_of_life",
        "number",
        words.say("worksheet.value.value_of_life"),
        given.value if given else None,
        unit=words.say("worksheet.unit_of.money"),
        told=told,
        least=limits["least"],
        most=limits["most"],
        above=bool(limits["above"]),
    )
