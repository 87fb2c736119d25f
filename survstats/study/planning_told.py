"""How many more mishaps would settle it, what could the next one do, and what must be written down of it?"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survstats.decision import precision
from survstats.decision.precision import Observed
from survstats.describe.missing import known_of
from survstats.effects.intervals import t_quantile
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.records.loading import Records
from survstats.study.counting import COMPARED
from survstats.study.everybody import Everybody
from survstats.study.judge import Found
from survstats.study.next_mishap import TRIED, NextMishap, next_mishaps
from survstats.study.plan import Study
from survstats.study.results_builder import People, ResultsBuilder, people

#: The sizes the table tells, as multiples of the mishaps in hand.
TIMES = (1, 1.5, 2, 3, 5, 10)
_SETTLE_IDS = ("planning.mishaps_to_settle", "planning.total_to_settle", "planning.years_to_settle")
_ESTIMATED_IDS = ("planning.mishaps_if_as_estimated", "planning.total_if_as_estimated")
_WIDTH_IDS = ("planning.half_width", "planning.mishaps_for_precision", "planning.more_for_precision")
_NEXT_IDS = (
    "planning.next_people",
    "planning.next_tried",
    "planning.next_best_mishaps",
    "planning.next_worst_mishaps",
)
IDS = (
    *("planning.mishaps", *_WIDTH_IDS, *_SETTLE_IDS, *_ESTIMATED_IDS, "planning.chance_aimed", "planning"),
    *(*_NEXT_IDS, "next_record"),
)
_SIDES = {"for": "best", "against": "worst"}
#: What the next record must hold, and the columns in which it stands; without columns it is counted as the gaps are.
RECORD: dict[str, tuple[str, ...]] = {
    "training_papers": (),
    "coded_blind": ("coded_blind",),
    "alive_at_immersion": (),
    "seat_place": (),
    "time_out": (),
    "time_source": ("egress_time_source",),
    "exit_used": (),
    "suit": ("suit_worn",),
    "breathing_set": ("ebs_issued", "ebs_used"),
    "immersion": ("immersion_type",),
    "waves": ("sig_wave_height_m", "sea_state_source"),
    "water": ("water_temp_c",),
    "rescue": ("rescue_first_asset_min",),
}
_OF_WHO_GOT_OUT = ("time_source",)
_NOT = ("not_met", "not_assessed")
_OF_RECORDS = ("seen", "comparable")


def store_planning(
    out: ResultsBuilder, study: Study, records: Records, everyone: Everybody, found: Found
) -> None:
    """How many more mishaps like these, what the next one could do, and how often the last ones held what it must hold.

    Parameters
    ----------
    out : ResultsBuilder
        Where mishaps a year are stored already, if the study file gives them.
    study : Study
    records : Records
    everyone : Everybody
    found : Found
    """
    worthwhile = study.plan.question.smallest_worthwhile_points / 100
    if found.main is None:
        reason = out.absent.get("effect.rd", "few_mishaps")
        out.leave_out(reason, "planning.mishaps", *_WIDTH_IDS, *_SETTLE_IDS, *_ESTIMATED_IDS, "planning")
    else:
        _store_precision(out, found.main.effect.difference, worthwhile)
    _store_held(out, found)
    _store_next(out, study, records, found)
    _store_record(out, study, records, everyone)


def observed_of(difference: Estimate) -> Observed:
    """What the printed interval says of chance: its half-width over the t quantile, and its mishaps.

    That is the jackknife error, or more where the interval was widened (nobody of a group died).

    Raises
    ------
    NotEstimable
        ``one_outcome`` where the interval has no width.
    """
    half = (difference.high - difference.low) / 2
    se = half / t_quantile(difference.level, difference.mishaps - 1)
    if se <= 0:
        raise NotEstimable("one_outcome", "The interval of the difference has no width.")
    return Observed(se, difference.mishaps)


def _store_precision(out: ResultsBuilder, difference: Estimate, worthwhile: float) -> None:
    with out.or_absent("planning.mishaps", *_WIDTH_IDS, *_SETTLE_IDS, *_ESTIMATED_IDS, "planning"):
        observed = observed_of(difference)
        now = observed.mishaps
        out.count("planning.mishaps", now, rests_on=COMPARED)
        half = precision.half_width(observed, now)
        out.figure("planning.half_width", half, unit="difference", method="jackknife", rests_on=COMPARED)
        out.figure("planning.chance_aimed", precision.CHANCE_AIMED, unit="share", method="rule")
        _store_table(out, observed, difference.value, worthwhile)
        with out.or_absent(*_WIDTH_IDS[1:]):
            total = precision.mishaps_for_width(observed, worthwhile)
            out.count("planning.mishaps_for_precision", total, rests_on=COMPARED)
            out.count("planning.more_for_precision", max(total - now, 0), rests_on=COMPARED)
        with out.or_absent(*_SETTLE_IDS):
            total = precision.mishaps_to_show(observed, worthwhile)
            _store_more(out, "planning.total_to_settle", "planning.mishaps_to_settle", total, now)
            _store_years(out, max(total - now, 0))
        with out.or_absent(*_ESTIMATED_IDS):
            total = precision.mishaps_to_show(observed, difference.value)
            _store_more(out, "planning.total_if_as_estimated", "planning.mishaps_if_as_estimated", total, now)


def _store_more(out: ResultsBuilder, total_id: str, more_id: str, total: int, now: int) -> None:
    out.count(total_id, total, rests_on=COMPARED)
    out.count(more_id, max(total - now, 0), rests_on=COMPARED)


def _store_years(out: ResultsBuilder, more: int) -> None:
    """How long so many mishaps would take, where the study file says how often they happen."""
    rate = out.numbers.get("exposure.mishaps_a_year")
    if rate is None or rate.value <= 0:
        out.leave_out("no_mishap_rate", "planning.years_to_settle")
        return
    years = more / rate.value
    out.figure("planning.years_to_settle", years, unit="years", method="counted", rests_on=COMPARED)


def _store_table(out: ResultsBuilder, observed: Observed, estimate: float, worthwhile: float) -> None:
    sizes = sorted({max(2, round(times * observed.mishaps)) for times in TIMES})
    out.table(
        "planning",
        ("mishaps", "half_width", "chance_worthwhile", "chance_estimate"),
        [
            (
                size,
                precision.half_width(observed, size),
                precision.chance_shown(observed, size, worthwhile),
                precision.chance_shown(observed, size, estimate),
            )
            for size in sizes
        ],
        rests_on=COMPARED,
    )


def _store_held(out: ResultsBuilder, found: Found) -> None:
    """Which gates are not met that more of the same hardly move: they look at what is written down, not at chance."""
    held = [gate.name for gate in found.gates if gate.name in _OF_RECORDS and gate.state in _NOT]
    out.lists["planning.not_by_number"] = held
    out.codes["planning.held_by"] = "records" if held else "number"


# ---- the next mishap -----------------------------------------------------------------------------


def _store_next(out: ResultsBuilder, study: Study, records: Records, found: Found) -> None:
    """What extreme mishaps would do. It takes long, so that a decision must be named and an estimate there."""
    reason = None
    if study.plan.decision is None:
        reason = "not_asked"
    elif out.codes["budget.form"] == "inputs_missing":
        reason = "inputs_missing"  # no paper would print it
    elif out.codes.get("records.survivor_only") == "yes":
        reason = "survivor_only"
    elif found.main is None:
        reason = out.absent.get("effect.rd", "few_mishaps")
    if reason is not None:
        out.codes["planning.next"] = reason
        out.leave_out(reason, *_NEXT_IDS)
        return
    told = next_mishaps(study, records, found.verdict, banners=tuple(out.lists.get("records.banners", ())))
    out.codes["planning.next"] = "tried" if told else "no_mishap"
    if not told:
        out.leave_out("no_mishap_like_it", *_NEXT_IDS)
    else:
        out.count("planning.next_tried", TRIED[-1], rests_on=("cohort.population",))
    for one in told:
        _store_side(out, one)


def _store_side(out: ResultsBuilder, one: NextMishap) -> None:
    name = f"planning.next_{_SIDES[one.side]}"
    out.count("planning.next_people", one.people, rests_on=("cohort.population",))
    out.codes[f"planning.next_word_{_SIDES[one.side]}"] = one.word
    out.codes[f"{name}_word"], out.codes[f"{name}_direction"] = one.needed_word, one.needed_direction
    if one.needed is None:
        out.codes[name] = "none" if one.tried else "strongest"
        out.leave_out("word_stays", f"{name}_mishaps")
    else:
        out.codes[name] = "one" if one.needed == 1 else "several"
        out.count(f"{name}_mishaps", one.needed, rests_on=("cohort.population",))


# ---- what the next record must hold --------------------------------------------------------------


def _store_record(out: ResultsBuilder, study: Study, records: Records, everyone: Everybody) -> None:
    """How often these records hold what the next must hold, of the dead and of survivors."""
    derived = everyone.derived
    inside = derived["in_p2"].to_numpy(bool)
    frame = derived[inside]
    known = known_of(records, derived, study.covariates).of(inside)
    lived = frame["survived"].to_numpy() == 1
    rows = frame["file_row"].to_numpy()
    told: list[tuple[str | People, ...]] = []
    for name, columns in RECORD.items():
        if columns:
            answered = _all_given(frame, columns)
            applies = (known.applies["time_out"] if name in _OF_WHO_GOT_OUT else answered.notna()).to_numpy(
                bool
            )
        elif name in known.known.columns:
            answered, applies = known.known[name], known.applies[name].to_numpy(bool)
        else:
            continue
        yes = answered.to_numpy(bool) & applies
        told.append(
            (
                name,
                *(people(rows[group & mask]) for group in (~lived, lived) for mask in (applies, yes)),
            )
        )
    out.table("next_record", ("field", "of_died", "known_died", "of_survived", "known_survived"), told)


def _all_given(frame: pd.DataFrame, columns: Sequence[str]) -> pd.Series[bool]:
    """Whether each of these columns has an answer; what is not applicable needs none."""
    given = pd.Series(True, index=frame.index)
    for name in columns:
        given &= frame[name].notna() & frame[name].astype(object).ne("unknown")
    return given
