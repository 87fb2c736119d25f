"""Results with everything that the annex can print: demo results, and invented figures where a demo has none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from survstats.study.results import Cell, Number, StudyResults, Table


def difference(value: float, low: float | None = None, high: float | None = None, **more) -> Number:
    level = None if low is None else 0.95
    return Number(value, "difference", "invented", low, high, level, mishaps=55, occupants=237, **more)


def odds(value: float, low: float | None = None, high: float | None = None) -> Number:
    return Number(value, "log_odds", "invented", low, high, None if low is None else 0.95)


def ratio(value: float, low: float, high: float) -> Number:
    return Number(value, "odds_ratio", "invented", low, high, 0.95, mishaps=22, occupants=123)


def count(value: int) -> Number:
    return Number(value, "count", "counted")


def seconds(value: float, low: float, high: float) -> Number:
    return Number(value, "seconds", "invented", low, high, 0.95, mishaps=54, occupants=231)


def share(value: float, low: float, high: float) -> Number:
    return Number(value, "share", "invented", low, high, 0.95, mishaps=54, occupants=231)


#: Getting out of the cabin, as far as it is not in the tables.
GETTING_OUT: dict[str, Number] = {
    "egress.share_out.trained": share(0.881, 0.802, 0.931),
    "egress.share_out.untrained": share(0.774, 0.702, 0.836),
    "egress.rd_out": difference(0.107, 0.011, 0.203),
    "egress.rd_20_least": difference(-0.043, -0.151, 0.065),
    "egress.rd_20_most": difference(0.244, 0.131, 0.357),
    "egress.rd_20_model": difference(0.118, 0.009, 0.227),
    "egress.rd_60_least": difference(0.083, -0.021, 0.187),
    "egress.rd_60_most": difference(0.083, -0.021, 0.187),
    "egress.rd_60_model": difference(0.111, 0.007, 0.215),
    "egress.seconds_least": seconds(-1.3, -4.4, 1.8),
    "egress.seconds_most": seconds(12.6, 9.2, 16.0),
    "egress.time_ratio": Number(0.784, "ratio", "invented", 0.622, 0.988, 0.95, mishaps=51, occupants=177),
    "egress.median.trained": seconds(14.4, 11.2, 18.5),
    "egress.median.untrained": seconds(18.3, 15.1, 22.2),
    "egress.fit_distance": Number(0.026, "share", "invented"),
    "egress.widest_20_low": Number(-0.31, "difference", "bounds"),
    "egress.widest_20_high": Number(0.56, "difference", "bounds"),
    "egress.widest_60_low": Number(-0.17, "difference", "bounds"),
    "egress.widest_60_high": Number(0.42, "difference", "bounds"),
    "egress.rescued_inside": count(6),
    "egress.died_out": count(14),
    "egress.died_out_timed": count(3),
    "egress.washed_out": count(9),
    "split.rd": difference(0.079, -0.048, 0.206),
    "split.getting_out": difference(0.091, 0.008, 0.174),
    "split.afterwards": difference(-0.012, -0.077, 0.053),
    "split.out_trained": share(0.879, 0.8, 0.93),
    "split.out_untrained": share(0.772, 0.7, 0.834),
    "split.after_trained": share(0.845, 0.77, 0.9),
    "split.after_untrained": share(0.86, 0.79, 0.91),
    "rates.all": Number(1.44, "ratio", "invented", 1.06, 1.96, 0.95, mishaps=54, occupants=231),
    "rates.within": Number(1.29, "ratio", "invented", 0.81, 2.06, 0.95, mishaps=54, occupants=231),
    "rates.draws": count(19),
}
#: The doubts in order, each with a state and a finding.
CHALLENGES: dict[str, tuple[str, str]] = {
    "survivor_headline": ("weakens", "bounded"),
    "worst_case": ("weakens", "covers_zero"),
    "unknown_dead": ("holds", "crosses"),
    "fitness": ("overturns", "below_floor"),
    "hidden_bias": ("holds", "passengers_withstands"),
    "wrong_entries": ("weakens", "weakened"),
    "impact_death": ("holds", "quiet"),
    "one_mishap": ("weakens", "keeps_sign"),
    "choices": ("holds", "most"),
    "under_reporting": ("holds", "keeps_interval"),
    "counterparts": ("holds", "overlap"),
    "calibration": ("not_assessable", "not_estimated"),
}
NUMBERS: dict[str, Number] = {
    "effect.number_needed": Number(12.7, "number_needed", "inverted", 5.1, 41.0, 0.95),
    "effect.rd_trained": difference(0.081, -0.046, 0.208),
    "effect.rd_mishap_average": difference(0.071, -0.05, 0.19),
    "effect.rd_augmented": difference(0.062, -0.071, 0.194),
    "effect.rd_augmented_untrained": difference(0.064, -0.069, 0.197),
    "effect.augmented_gap": difference(0.017, -0.021, 0.055),
    "effect.rd_random_intercept": difference(0.083),
    "effect.rd_population_average": difference(0.079),
    "effect.rd_imputed": replace(difference(0.095, -0.012, 0.202), occupants=263),
    "effect.rd_without_seat": difference(0.085, -0.04, 0.21),
    "effect.rd_with_seat": difference(0.079, -0.041, 0.198),
    "effect.rd_without_breathing_set": difference(0.09, -0.03, 0.211),
    "effect.rd_with_breathing_set": difference(0.074, -0.044, 0.191),
    "effect.rd_unknown_survivability": difference(0.069, -0.044, 0.182),
    "flip.log_odds": odds(0.4934, -0.31, 1.31),
    "flip.p": Number(0.214, "p", "sign_flip"),
    "flip.smallest_p": Number(0.0001, "p", "sign_flip"),
    "firth.log_odds": odds(0.48, -0.27, 1.26),
    "within.odds_ratio_mid_p": ratio(1.69, 0.75, 4.0),
    "within.odds_ratio_adjusted": ratio(1.61, 0.66, 3.94),
    "random.log_odds": odds(0.61, -0.22, 1.44),
    "random.spread": odds(0.93, 0.31, 1.66),
    "random.within": odds(0.52, -0.33, 1.37),
    "random.between": odds(0.71, -1.1, 2.52),
    "random.difference": odds(0.19, -1.8, 2.18),
    "recency.unknown_date": count(17),
    "recency.never": count(161),
    "fading.half_life": Number(21.0, "months", "profile", 8.0, 77.0, 0.95),
    "fading.rd_0": difference(0.121, -0.04, 0.28),
    "fading.rd_12": difference(0.088, -0.03, 0.21),
    "fading.rd_24": difference(0.06, -0.03, 0.15),
    "fading.rd_48": difference(0.03, -0.04, 0.1),
    "fading.first_month": Number(1.0, "months", "counted"),
    "fading.last_month": Number(60.0, "months", "counted"),
    "fading.dates_imputed": count(18),
    "imputed.people": count(59),
    "imputed.people_died": count(43),
    "imputed.draws": count(21),
    "imputed.iterations": count(11),
    "imputed.fraction_missing": Number(0.212, "share", "rubin"),
    "adequacy.events_per_column": Number(4.25, "ratio", "counted"),
    "adequacy.calibration_slope": odds(0.77, 0.31, 1.23),
    "adequacy.calibration_intercept": odds(-0.04, -0.5, 0.42),
    "pairs.seat_people": count(97),
    "pairs.seat_unknown": count(41),
    "pairs.breathing_people": count(63),
    "pairs.breathing_unknown": count(22),
    "overlap.one_sided": count(46),
    "threshold.chance_low": Number(0.05, "share", "rule"),
    "threshold.chance_high": Number(0.95, "share", "rule"),
    "adequacy.largest_leverage": Number(0.913, "columns", "leverage"),
    "effect.e_value_survival": Number(1.47, "e_value", "invented"),
    "effect.e_value_survival_limit": Number(1.12, "e_value", "invented"),
    "effect.e_value_death": Number(2.31, "e_value", "invented"),
    "effect.e_value_death_limit": Number(1.18, "e_value", "invented"),
    "tipping.unknown_dead": count(43),
    "tipping.expected": Number(11.2, "people", "imputed"),
    "tipping.not_beyond_chance": Number(16.0, "people", "imputed"),
    "tipping.no_difference": Number(28.0, "people", "imputed"),
    "fitness.strength_estimate": Number(0.71, "logit_per_sd", "fitness"),
    "fitness.strength_limit": Number(0.32, "logit_per_sd", "fitness"),
    "fitness.odds_estimate": Number(2.03, "ratio", "fitness"),
    "fitness.odds_limit": Number(1.38, "ratio", "fitness"),
    "fitness.floor": Number(0.75, "logit_per_sd", "study_file"),
    "fitness.floor_odds": Number(2.12, "ratio", "study_file"),
    "fitness.bias_at_floor": difference(0.081),
    "fitness.share_trained": Number(0.41, "share", "counted"),
    "fitness.share_alive": Number(0.78, "share", "counted"),
    "fitness.largest_shift": difference(0.019),
    "hidden_bias.gamma": Number(1.31, "ratio", "exact_within_mishap"),
    "hidden_bias.gamma_passengers": Number(1.12, "ratio", "exact_within_mishap"),
    "hidden_bias.level": Number(0.95, "share", "rule"),
    "hidden_bias.limit": Number(1.33, "odds_ratio", "exact_within_mishap"),
    "miscoding.undocumented_dead": count(22),
    "miscoding.documented_dead": count(57),
    "miscoding.sensitivity": Number(0.83, "share", "study_file"),
    "miscoding.moved": Number(3.4, "people", "imputed"),
    "miscoding.rd_found": difference(0.051, -0.068, 0.17),
    "miscoding.rd_all_unknown": difference(0.089, -0.041, 0.219),
    "impact_death.rd": difference(-0.012, -0.051, 0.027),
    "impact_death.margin": Number(0.035, "difference", "study_file"),
    "impact_death.noticeable": difference(0.044),
    "choices.listed": count(24),
    "choices.estimated": count(23),
    "choices.not_made": count(1),
    "choices.different": count(21),
    "choices.same_sign": count(22),
    "choices.inside": count(5),
    "choices.smallest": difference(-0.011),
    "choices.largest": difference(0.131),
    "under_reporting.harmless": count(18),
    "under_reporting.rd_half": difference(0.061, -0.04, 0.162),
    "under_reporting.rd_quarter": difference(0.042, -0.03, 0.114),
    "threshold.lower_floor_odds": Number(1.72, "ratio", "rule"),
    "threshold.documented_dead_partly": Number(0.51, "share", "rule"),
    "threshold.mishaps_partly": Number(8, "count", "rule"),
    "threshold.people_partly": Number(11, "count", "rule"),
    "threshold.largest_delta": Number(1.1, "log_odds", "rule"),
    "threshold.inside_partly": Number(0.61, "share", "rule"),
    "threshold.same_sign": Number(0.91, "share", "rule"),
    "threshold.same_sign_partly": Number(0.76, "share", "rule"),
    "threshold.as_far_not_full": Number(3, "count", "rule"),
    "threshold.in_part_not_met": Number(4, "count", "rule"),
    "threshold.in_part_not_full": Number(5, "count", "rule"),
    **{f"challenge.{name}.number": count(at) for at, name in enumerate(CHALLENGES, 1)},
    **GETTING_OUT,
}
#: What findings of `CHALLENGES` quote, where a study without an estimate has none.
QUOTED: dict[str, Number] = {
    "effect.rd_without_one": difference(0.058, -0.069, 0.185),
    "gate.comparable.inside": Number(0.71, "share", "counted"),
}
CODES = {
    "question.population": "P1",
    "question.target": "all",
    "question.weighting": "people",
    "flip.kind": "drawn",
    "random.reading": "not_told_apart",
    "random.spread_state": "none",
    "modifiers.spread": "none_seen",
    "effect.roads": "apart",
    "adequacy.calibration": "no_better",
    "effect.one_arm_hangs": "yes",
    "graph.crew": "crew_after_contact",
    "tipping.chance_state": "crosses",
    "tipping.difference_state": "crosses",
    "tipping.way": "more",
    "impact_death.alarm": "no",
    "fitness.shift_group": "sea_and_weather",
    "change.up_word": "suggests",
    "verdict.word_at_lower_floor": "suggests",
    "verdict.borderline": "no",
    "verdict.reason": "gates",
    "verdict.word": "cannot_tell",
    "egress.rd_20_form": "range",
    "egress.rd_60_form": "point",
    "egress.seconds_form": "range",
    "egress.fit": "close",
    "rates.proportional": "kept",
}
LISTS = {
    "plan.modifiers": ["far_seat", "capsized"],
    "modifiers.left_out": ["capsized unknown not_known", "cold_water one_level"],
    "graph.adjusted_nodes": ["ROLE", "OPER", "CLS", "SEAT", "ENV"],
    "graph.asked_nodes": ["ERA", "PPE", "EXP", "AGE", "SEX", "SEV", "WARN"],
    "graph.left_out_nodes": ["ERA"],
    "graph.unmeasured_nodes": ["FIT"],
    "graph.partly_nodes": ["CLS", "ENV"],
    "modifiers.moved_by_training": ["far_seat"],
    "imputed.fields": ["far_seat", "age_band"],
    "imputed.leans_on": ["outcome", "answer_of_others", "role"],
    "imputed.left_out": ["log_aboard", "era"],
    "change.up": ["beyond_chance"],
    "change.down": ["enough", "seen"],
}
_CHOICE = ("population", "exposure", "covariates", "missing", "estimator")
_AGREED = ("P1", "current_v_never", "study", "as_coded", "standardised")
#: What the listed choices change, family by family.
_CHANGED: dict[str, tuple[dict[str, str], ...]] = {
    "main": ({},),
    "population": tuple({"population": code} for code in ("unknown_survivability", "P2", "passengers")),
    "exposure": tuple(
        {"exposure": code} for code in ("ever_v_never", "current_v_never_or_briefed", "current_v_not_current")
    ),
    "covariates": tuple(
        {"covariates": code}
        for code in ("none", "causes_of_training", "without_seat_and_kit", "with_others_aboard", "with_era")
    ),
    "missing": ({"missing": "complete_rows"}, {"missing": "imputed"}),
    "estimator": tuple(
        {"estimator": code} for code in ("augmented", "weighting", "mishap_average", "penalised")
    ),
    "combined": (
        {"population": "passengers", "exposure": "ever_v_never"},
        {"population": "passengers", "estimator": "augmented"},
        {"population": "P2", "exposure": "ever_v_never"},
        {"population": "P2", "estimator": "augmented"},
        {"exposure": "ever_v_never", "missing": "imputed"},
        {"population": "passengers", "missing": "imputed"},
    ),
}


def _choices() -> Table:
    """The listed choices; one could not be worked out, and one points the other way."""
    told = [(family, change) for family, changes in _CHANGED.items() for change in changes]
    rows: list[tuple[Cell, ...]] = []
    for at, (family, change) in enumerate(told):
        codes = [change.get(name, agreed) for name, agreed in zip(_CHOICE, _AGREED, strict=True)]
        value = 0.08 + 0.006 * ((at * 7) % 19 - 8) if at != 12 else -0.011
        figures = (value, value - 0.11, value + 0.12, None) if at != 15 else (None, None, None, "no_overlap")
        rows.append((at + 1, family, *codes, *figures))
    return Table(("number", "family", *_CHOICE, "difference", "low", "high", "reason"), tuple(rows))


def _doubts() -> dict[str, Table]:
    """The tables of the doubts."""
    tipping = [
        (people, 0.16 - 0.006 * people, 0.096 - 0.006 * people, 0.29 - 0.006 * people)
        for people in (0, 4, 7, 11, 14, 15, 16, 18, 22, 25, 27, 28, 29, 32, 36, 40, 43)
    ]
    made = ((0.2, 0.0104), (0.4, 0.0382), (0.6, 0.0781), (0.75, 0.1129), (0.8, 0.1251), (1.0, 0.1746))
    groups = (("role", 0.091, 0.011), ("sea_and_weather", 0.061, -0.019), ("aircraft_class", 0.084, 0.004))
    grid = [
        (
            dead,
            living,
            right,
            None if dead < 0.7 and living > 0.9 else 0.12 - (1 - dead) / 3 + (1 - living) / 5,
        )
        for dead in (0.6, 0.8, 1.0)
        for living in (0.8, 1.0)
        for right in (0.9, 1.0)
    ]
    return {
        "challenges": Table(
            ("challenge", "state", "finding"), tuple((name, *told) for name, told in CHALLENGES.items())
        ),
        "tipping": Table(("trained_died", "difference", "low", "high"), tuple(tipping)),
        "fitness": Table(("strength", "difference"), made),
        "left_out_groups": Table(("group", "difference", "shift"), groups),
        "miscoding_grid": Table(
            ("sensitivity_dead", "sensitivity_survivors", "specificity", "difference"), tuple(grid)
        ),
        "choices": _choices(),
    }


#: Boxes of time in seconds and the share of the group in each; the second box of the trained is one known second.
BOXES = {
    "trained": ((4, 10, 0.21), (12, 12, 0.09), (10, 20, 0.26), (25, 40, 0.19), (45, 60, 0.11)),
    "untrained": ((6, 15, 0.17), (15, 30, 0.32), (30, 60, 0.21), (60, 90, 0.07)),
}


def getting_out_tables() -> dict[str, Table]:
    """The tables of getting out of the cabin."""
    people = [
        ("trained", 93, 79, 12, 2, 61, 3, 58, 18),
        ("untrained", 138, 103, 31, 4, 88, 5, 83, 15),
        ("others", 44, 29, 8, 7, 21, 1, 20, 8),
    ]
    curve: list[tuple[Cell, ...]] = []
    model: list[tuple[Cell, ...]] = []
    at: list[tuple[Cell, ...]] = []
    for arm, boxes in BOXES.items():
        ends = sorted({0, *(end for low, high, _ in boxes for end in (low, high))})
        for end in ends:
            least = sum(mass for _, high, mass in boxes if high <= end)
            most = sum(mass for low, high, mass in boxes if low < end or high <= end)
            curve.append((arm, float(end), least, most, max(least - 0.08, 0.0), min(most + 0.07, 1.0)))
        ever = sum(mass for *_, mass in boxes)
        model += [(arm, 3.0 * step, ever * (1 - 0.955 ** (3.0 * step)) ** 2) for step in range(41)]
        for place, second in enumerate((10, 20, 40, 60)):
            out, inside = 11 + 17 * place, (71 if arm == "trained" else 97) - 16 * place
            at.append((arm, float(second), out, inside, 13 + place))
    shapes = (
        ("lognormal", 0.784, -311.42, 0.52),
        ("loglogistic", 0.771, -313.77, 0.31),
        ("weibull", 0.812, -319.04, 0.61),
    )
    return {
        "egress_people": Table(
            ("arm", "occupants", "out", "inside", "not_known", "timed", "points", "bands", "time_unknown"),
            tuple(people),
        ),
        "egress_curve": Table(("arm", "time_s", "least", "most", "low", "high"), tuple(curve)),
        "egress_boxes": Table(
            ("arm", "from_s", "to_s", "mass"),
            tuple(
                (arm, float(low), float(high), mass)
                for arm, boxes in BOXES.items()
                for low, high, mass in boxes
            ),
        ),
        "egress_at": Table(("arm", "time_s", "known_out", "known_inside", "cannot_tell"), tuple(at)),
        "egress_model_curve": Table(("arm", "time_s", "share"), tuple(model)),
        "egress_models": Table(
            ("distribution", "time_ratio", "low", "high", "log_likelihood", "scale"),
            tuple(
                (name, value, value - 0.16, value + 0.2, likelihood, scale)
                for name, value, likelihood, scale in shapes
            ),
        ),
    }


def _estimators() -> Table:
    columns = (
        "id",
        "population",
        "target",
        "weighting",
        "value",
        "low",
        "high",
        "df",
        "mishaps",
        "occupants",
    )
    rows: list[tuple[Cell, ...]] = []
    for name, number in {"effect.rd": difference(0.08), **NUMBERS, "crude.rd": difference(0.07)}.items():
        if name in ("effect.rd", "crude.rd") or name.startswith("effect.rd_"):
            target = (
                "untrained" if "untrained" in name else "trained" if name.endswith("rd_trained") else "all"
            )
            weighting = "mishaps" if "average" in name and "mishap" in name else "people"
            rows.append((name, "P1", target, weighting, number.value, number.low, number.high, 54.0, 55, 237))
    return Table(columns, tuple(rows))


def _tables(results: StudyResults) -> dict[str, Table]:
    statuses = ("current", "never", "lapsed", "briefing", "unknown", "all")
    ledger = [row[0] for row in results.tables["ledger_p1"].rows]
    flow = [(step, 11 + at, 21 + at, 31 + at, 41 + at, 51 + at, 155 + at) for at, step in enumerate(ledger)]
    crude = [
        (status, 61 + at, 13 + at, 74 + at, 0.83 - at / 50, 0.21 + at / 50, 0.12 + at / 50)
        for at, status in enumerate(statuses)
    ]
    terms = (
        "intercept",
        "trained",
        "role[flight_crew]",
        "operator_code[S]",
        "far_seat[yes]",
        "sig_wave_height_m",
    )
    coefficients = [
        (term, 0.31 + at, 0.41 + at / 9, 20.5 + at, -0.4 + at, 1.1 + at) for at, term in enumerate(terms)
    ]
    mishaps = (
        [row[0] for row in results.tables["one_mishap_out"].rows]
        if "one_mishap_out" in results.tables
        else []
    )
    influence = [(mishap, 5 + at, 0.6 - at / 90, 0.031 - at / 900) for at, mishap in enumerate(mishaps)]
    recency = [
        ("0-12", 0.0, 12.0, 71, 56, 0.12, -0.04, 0.27),
        ("12-24", 12.0, 24.0, 62, 51, 0.07, -0.06, 0.21),
        ("24-48", 24.0, 48.0, 83, 67, 0.04, -0.07, 0.15),
        ("48", 48.0, None, 19, 19, None, None, None),
    ]
    modifiers = [
        ("far_seat", "yes", 101, 33, 29, 0.13, -0.05, 0.31, 0.1),
        ("far_seat", "no", 136, 45, 23, 0.04, -0.09, 0.17, 0.06),
        ("capsized", "yes", 88, 29, 31, 0.16, -0.03, 0.35, 0.11),
        ("capsized", "no", 122, 47, 15, 0.02, -0.08, 0.12, 0.05),
    ]
    contrasts = [("far_seat", "yes", "no", 0.09, -0.12, 0.3), ("capsized", "yes", "no", 0.14, -0.08, 0.36)]
    delta = [
        (dead, living, 0.09 + dead / 40 + living / 100, -0.03 + dead / 40, 0.21 + dead / 40)
        for dead in (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
        for living in (-1.0, 0.0, 1.0)
    ]
    chains = [
        (draw, turn, quantity, base + 0.03 * ((draw * 7 + turn * 5) % 11 - 5) / 5)
        for draw in range(1, 21)
        for turn in range(1, 11)
        for quantity, base in (("trained_of_unknown_died", 0.24), ("trained_of_unknown_survived", 0.37))
    ]
    calibration = [
        (
            0.31 + at / 8,
            0.43 + at / 8,
            47 + at,
            0.38 + at / 8,
            0.35 + at / 7,
            0.2 + at / 8,
            min(0.6 + at / 8, 0.99),
        )
        for at in range(5)
    ]
    return {
        "estimators": _estimators(),
        **_doubts(),
        **getting_out_tables(),
        "flow": Table(("step", *statuses), tuple(flow)),
        "crude_shares": Table(
            ("status", "survived", "died", "all", "of_row_survived", "of_survivors", "of_dead"), tuple(crude)
        ),
        "coefficients": Table(("term", "estimate", "se", "df", "low", "high"), tuple(coefficients)),
        "influence": Table(("mishap", "occupants", "leverage", "change"), tuple(influence)),
        "recency": Table(
            ("band", "from_months", "to_months", "occupants", "survived", "difference", "low", "high"),
            tuple(recency),
        ),
        "fading_curve": Table(
            ("months", "difference", "low", "high"),
            tuple(
                (float(m), 0.12 * 0.97**m, 0.12 * 0.97**m - 0.1, 0.12 * 0.97**m + 0.12)
                for m in range(1, 61, 2)
            ),
        ),
        "fading_months": Table(
            ("from_months", "occupants"), tuple((float(m), 3 + m % 7) for m in range(0, 60, 3))
        ),
        "modifiers": Table(
            ("modifier", "level", "occupants", "trained", "died", "difference", "low", "high", "shrunken"),
            tuple(modifiers),
        ),
        "modifier_contrasts": Table(
            ("modifier", "level", "against", "difference", "low", "high"), tuple(contrasts)
        ),
        "imputation_delta": Table(
            ("delta_dead", "delta_survivors", "difference", "low", "high"), tuple(delta)
        ),
        "imputation_chains": Table(("draw", "iteration", "quantity", "value"), tuple(chains)),
        "calibration": Table(
            ("from_risk", "to_risk", "occupants", "predicted", "survived_share", "low", "high"),
            tuple(calibration),
        ),
        "open_paths": Table(
            ("population", "who", "path", "closable"),
            (
                ("P1", "passengers", "A < FIT > Y", "no"),
                ("P1", "passengers", "A < AGE > Y", "yes"),
                ("P1", "passengers", "A < OPER > SEV > INJ > TEG > OUT > Y", "yes"),
                ("P2", "passengers", "A < FIT > Y", "no"),
            ),
        ),
        "empty_cells": Table(
            ("role", "aircraft_class", "era", "trained", "untrained"),
            (
                ("flight_crew", "light", "2015_2024", 12, 0),
                ("passenger", "heavy", "1997_2004", 0, 34),
            ),
        ),
        "era_positivity": Table(
            ("era", "trained", "untrained"),
            (("1997_2004", 11, 71), ("2005_2014", 29, 63), ("2015_2024", 37, 26)),
        ),
    }


def with_annex(results: StudyResults, *, over: bool = True) -> StudyResults:
    """The results with every number and table of the annex.

    Parameters
    ----------
    results : StudyResults
        A demo study's.
    over : bool
        Whether the invented figures replace what the study has itself.
    """

    def joined(own: Mapping, more: Mapping) -> dict:
        return {**own, **more} if over else {**more, **own}

    return replace(
        results,
        numbers={**QUOTED, **joined(results.numbers, NUMBERS)},
        codes=joined(results.codes, CODES),
        lists=joined(results.lists, LISTS),
        tables=joined(results.tables, _tables(results)),
        absent={name: reason for name, reason in results.absent.items() if name not in NUMBERS},
    )
