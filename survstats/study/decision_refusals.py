"""Which decisions are refused although each of their sections alone is in order?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from itertools import combinations

from survstats.groundwork.errors import CallError, StudyFileError
from survstats.groundwork.toml_faults import short
from survstats.groundwork.words import did_you_mean
from survstats.study.decision_figures import refuse_figure, refuse_part_of_month
from survstats.study.decision_letters import letters_not_set
from survstats.study.decision_plan import DecisionPlan, GroupPlan, MatrixPlan, PolicyPlan
from survstats.study.plan_sections import CabinPlan

Path = tuple[str | int, ...]
Refusal = tuple[Path, Callable[[], None]]


def decision_refusals(plan: DecisionPlan, cabins: Mapping[str, CabinPlan]) -> list[Refusal]:
    """What of a decision is to be tried, and under which key of the study file a fault stands.

    Parameters
    ----------
    plan : DecisionPlan
    cabins : mapping of str to CabinPlan
        The cabins of the study file, by class; a zone of seats must be one of theirs.
    """
    refusals: list[Refusal] = [
        *_names_twice(plan),
        *letters_not_set(plan),
        (("decision", "today"), partial(refuse_today, plan)),
        (
            ("decision", "longest_months"),
            partial(refuse_part_of_month, "longest_months", plan.longest_months),
        ),
        (("decision", "longest_months"), partial(refuse_longest, plan)),
        (("decision", "discount_percent"), partial(refuse_rates, plan)),
        (("decision", "matrix", "at_least"), partial(refuse_matrix, plan.matrix)),
    ]
    for at, group in enumerate(plan.group):
        refusals.append((("decision", "group", at, "zone"), partial(refuse_zone, group, cabins)))
        refusals.append((("decision", "group", at, "roles"), partial(refuse_counted_twice, plan.group, at)))
    for at, policy in enumerate(plan.policy):
        here: Path = ("decision", "policy", at)
        refusals.append(((*here, "trained"), partial(refuse_groups, policy, plan)))
        refusals.append(((*here, "spends"), partial(refuse_spends, policy, plan)))
        refusals.append(((*here, "months"), partial(refuse_part_of_month, "months", policy.months)))
        refusals.append(((*here, "months"), partial(refuse_interval, policy, plan)))
    refusals += [(path, partial(refuse_figure, name, figure)) for name, path, figure in plan.given()]
    return refusals


def _names_twice(plan: DecisionPlan) -> Iterator[Refusal]:
    for section, entries in (("policy", plan.policy), ("group", plan.group), ("spend", plan.spend)):
        names = [entry.name for entry in entries]
        for at, name in enumerate(names):
            yield ("decision", section, at, "name"), partial(refuse_name_twice, name, names[:at], section)


def refuse_name_twice(name: str, before: Sequence[str], section: str) -> None:
    """Refuse a name that an entry before bears.

    Raises
    ------
    StudyFileError
        ``name_twice``.
    """
    if name in before:
        raise StudyFileError(
            "name_twice", f"two entries under [[decision.{section}]] are named '{name}'.", "Name one anew."
        )


def refuse_today(plan: DecisionPlan) -> None:
    """Refuse a policy of today that is not among the policies.

    Raises
    ------
    StudyFileError
        ``unknown_policy``.
    """
    names = [policy.name for policy in plan.policy]
    if plan.today not in names:
        raise StudyFileError(
            "unknown_policy", f"no policy is named '{plan.today}'.", _of_these(plan.today, names)
        )


def refuse_longest(plan: DecisionPlan) -> None:
    """Refuse a longest interval of which nobody says where it comes from, or a source of none.

    Raises
    ------
    StudyFileError
        ``no_longest_source``, ``no_longest_months``.
    """
    if plan.longest_months is not None and plan.longest_source is None:
        raise StudyFileError(
            "no_longest_source",
            "longest_months is named, but not which law or contract says so.",
            'Add the line longest_source = "..." below it.',
        )
    if plan.longest_months is None and plan.longest_source is not None:
        raise StudyFileError(
            "no_longest_months",
            "longest_source is named, but not how many months it allows.",
            "Add the line longest_months = ... above it, or take longest_source out.",
        )


def refuse_rates(plan: DecisionPlan) -> None:
    """Refuse the same rate of discount twice: both stand side by side to show what the rate does.

    Raises
    ------
    StudyFileError
        ``same_rates``.
    """
    first, second = plan.discount_percent
    if first == second:
        raise StudyFileError(
            "same_rates",
            f"both rates of discount are {first:g} %.",
            "Write two different rates, in per cent a year: [0, 4].",
        )


def refuse_matrix(matrix: MatrixPlan | None) -> None:
    """Refuse levels of the risk matrix that do not fall from A to E.

    Raises
    ------
    StudyFileError
        ``levels_not_in_order``.
    """
    if matrix is None:
        return
    from survstats.decision.risk_matrix import edited, risk_matrix

    begins = {str(letter): chance for letter, chance in matrix.at_least.items()}
    try:
        edited(risk_matrix(), at_least=begins, cells={})
    except CallError as fault:
        raise StudyFileError(
            fault.reason, "the levels of the risk matrix do not fall.", "Let A begin highest, and E at 0."
        ) from None


def refuse_zone(group: GroupPlan, cabins: Mapping[str, CabinPlan]) -> None:
    """Refuse a zone that no cabin of the group's classes has.

    Raises
    ------
    StudyFileError
        ``no_cabin``, ``unknown_zone``.
    """
    if group.zone is None:
        return
    of_classes = {name: cabin for name, cabin in cabins.items() if not group.classes or name in group.classes}
    zones = sorted({zone for cabin in of_classes.values() for zone in cabin.zones})
    if not zones:
        raise StudyFileError(
            "no_cabin",
            f"the group '{group.name}' names the zone '{group.zone}', but no cabin of its classes is laid out.",
            "Add [cabin.CLASS] with rows, seats and zones, or take the zone out.",
        )
    if group.zone not in zones:
        raise StudyFileError(
            "unknown_zone",
            f"no cabin of the group '{group.name}' has a zone '{group.zone}'.",
            _of_these(group.zone, zones),
        )


def refuse_counted_twice(groups: Sequence[GroupPlan], at: int) -> None:
    """Refuse a group that holds people of a group before: they would be counted, and paid for, twice.

    Raises
    ------
    StudyFileError
        ``people_twice``.
    """
    for other, group in combinations(groups[: at + 1], 2):
        if group is not groups[at]:
            continue
        roles = [role for role in group.roles if role in other.roles]
        classes = not group.classes or not other.classes or set(group.classes) & set(other.classes)
        zones = group.zone is None or other.zone is None or group.zone == other.zone
        if roles and classes and zones:
            raise StudyFileError(
                "people_twice",
                f"the groups '{other.name}' and '{group.name}' hold the same people ({roles[0]}).",
                "Let roles, classes or zone keep them apart.",
            )


def refuse_groups(policy: PolicyPlan, plan: DecisionPlan) -> None:
    """Refuse a policy that trains a group nobody has named.

    Raises
    ------
    StudyFileError
        ``unknown_group``.
    """
    names = [group.name for group in plan.group]
    for name in policy.trained:
        if name not in names:
            raise StudyFileError(
                "unknown_group",
                f"the policy '{policy.name}' trains '{name}', which is no group of the decision.",
                _of_these(name, names),
            )


def refuse_spends(policy: PolicyPlan, plan: DecisionPlan) -> None:
    """Refuse a policy that buys what nobody has named, or the same thing twice.

    Raises
    ------
    StudyFileError
        ``unknown_spend``, ``spend_twice``.
    """
    names = [spend.name for spend in plan.spend]
    for at, name in enumerate(policy.spends):
        if name not in names:
            told = _of_these(name, names) if names else "Add it as [[decision.spend]], or take it out."
            raise StudyFileError(
                "unknown_spend",
                f"the policy '{policy.name}' spends on '{name}', which is not among the spends.",
                told,
            )
        if name in policy.spends[:at]:
            raise StudyFileError(
                "spend_twice", f"the policy '{policy.name}' buys '{name}' twice.", "Name it once."
            )


def refuse_interval(policy: PolicyPlan, plan: DecisionPlan) -> None:
    """Refuse a policy that lets people go longer without a course than law or contract allows.

    Raises
    ------
    StudyFileError
        ``too_long``, ``no_refresher``.
    """
    if plan.longest_months is None or not any(policy.trained.values()):
        return
    most = f"{plan.longest_months:g} months ({short(plan.longest_source or '')})"
    if policy.months is None:
        raise StudyFileError(
            "no_refresher",
            f"the policy '{policy.name}' has no refresher, but at most {most} are allowed between courses.",
            f"Add months = {plan.longest_months:g} or fewer.",
        )
    if policy.months > plan.longest_months:
        raise StudyFileError(
            "too_long",
            f"the policy '{policy.name}' leaves {policy.months:g} months between courses; at most {most} are allowed.",
            f"Write months = {plan.longest_months:g} or fewer, or correct longest_months.",
        )


def _of_these(name: str, names: Sequence[str]) -> str:
    known = ", ".join(f"'{short(one)}'" for one in names)
    return did_you_mean(name, list(names), otherwise=f"Named are: {known}.")
