import dataclasses
import datetime

import numpy as np
import pytest

from survstats.groundwork.errors import CallError
from survstats.records.checking import check_records
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records
from survstats.records.population import PopulationFilter
from survstats.records.reading.tables import Source
from survstats.records.rules.field_schema import outside

TODAY = datetime.date(2020, 1, 1)
LIVED = {
    "egress_outcome": "self",
    "outcome": "survived",
    "injury_class_icao": "minor",
    "days_to_death": "",
    "cause_of_death": "na",
}


def rules(records, today=TODAY):
    return {(f.rule, f.severity) for f in check_records(records, today=today)}


def found(records, rule, today=TODAY):
    return [f for f in check_records(records, today=today) if f.rule == rule]


def test_the_study_without_fault_has_the_statements_only(study):
    found_in = rules(study.records([study.mishap()], study.people()))
    assert found_in == {(rule, "statement") for rule in ("R39", "R44", "R45")}


# rule, change to the mishap that fails, its passing twin
MISHAP_CASES = [
    ("R3", {"n_aboard": "4", "n_pax": "3"}, {"n_aboard": "3"}),
    ("R4", {"n_pax": "3"}, {"n_pax": "unknown"}),
    ("R6", {"sea_state_wmo": "10", "sig_wave_height_m": ""}, {"sea_state_wmo": "9", "sig_wave_height_m": ""}),
    ("R7", {"sig_wave_height_m": "2.6"}, {"sig_wave_height_m": "2.5"}),
    ("R7", {"sig_wave_height_m": "1.25"}, {"sig_wave_height_m": "1.26"}),
    (
        "R7",
        {"sig_wave_height_m": "0", "sea_state_wmo": "1"},
        {"sig_wave_height_m": "0", "sea_state_wmo": "0"},
    ),
    ("R8", {"water_temp_c": "35.1"}, {"water_temp_c": "35"}),
    ("R8", {"water_temp_c": "-2.1"}, {"water_temp_c": "-2"}),
    ("R10", {"t_sink_lo_s": "-1"}, {"t_sink_lo_s": "0"}),
    ("F6", {"wind_kt": "-3"}, {"wind_kt": "0"}),
    ("F6", {"exits_total": "101"}, {"exits_total": "100"}),
    ("R10", {"t_sink_hi_s": "1000001"}, {"t_sink_hi_s": "1000000"}),
    ("R10", {"t_sink_hi_s": "1000001"}, {"t_sink_hi_s": "inf"}),
    ("R10", {"rescue_first_asset_min": "100001"}, {"rescue_first_asset_min": "100000"}),
    ("R33", {"event_date": "2020-01-02"}, {"event_date": "2020-01-01"}),
]


@pytest.mark.parametrize(("rule", "bad", "good"), MISHAP_CASES)
def test_mishap_rules(study, rule, bad, good):
    (finding,) = found(study.records([study.mishap("M1", **bad)], study.people()), rule)
    assert (finding.severity, finding.file, finding.row) == ("error", "mishap.csv", 2)
    assert finding.remedy
    assert not found(study.records([study.mishap("M1", **good)], study.people()), rule)


def test_a_count_of_people_that_no_helicopter_holds(study):
    (finding,) = found(study.records([study.mishap(n_aboard="40000000")], study.people()), "F6")
    assert (finding.row, finding.field, finding.expected) == (2, "n_aboard", "1 to 1000 people")


def test_a_limit_is_told_in_plain_digits(study):
    (finding,) = found(study.records([study.mishap(t_sink_hi_s="9" * 30)], study.people()), "R10")
    assert finding.expected == "0 to 1000000 s, or inf"


NO_TIME = {"egress_lo_s": "", "egress_hi_s": ""}
# rule, severity, change to the second person that fails, its passing twin
OCCUPANT_CASES = [
    ("R9", "error", {"egress_lo_s": "21"}, {"egress_lo_s": "20"}),
    ("R10", "error", {"egress_lo_s": "-5"}, {"egress_lo_s": "0"}),
    ("R11", "error", {"egress_outcome": "unknown"}, {"egress_outcome": "unknown", **NO_TIME}),
    ("R11", "error", {"egress_outcome": "unknown"}, {"egress_outcome": "unknown", "egress_hi_s": "inf"}),
    (
        "R12",
        "error",
        {"egress_outcome": "not_egressed", **NO_TIME},
        {"egress_outcome": "not_egressed", "rescued_inside": "yes", **NO_TIME},
    ),
    ("R13", "error", {"alive_at_immersion": "no"}, {"alive_at_immersion": "unknown"}),
    (
        "R13",
        "error",
        {"alive_at_immersion": "no", "outcome": "died", "cause_of_death": "drowning_inside", **NO_TIME},
        {"alive_at_immersion": "no", "outcome": "died", "cause_of_death": "impact_trauma", **NO_TIME},
    ),
    ("R14", "error", {"injury_class_icao": "fatal"}, {"injury_class_icao": "fatal", "days_to_death": "3"}),
    ("R15", "error", {"days_to_death": "30"}, {"days_to_death": "31"}),
    ("R15", "error", {"days_to_death": "31", "outcome": "died"}, {"days_to_death": "31"}),
    (
        "R15",
        "error",
        {"days_to_death": "31", "injury_class_icao": "fatal"},
        {"days_to_death": "30", "injury_class_icao": "fatal"},
    ),
    ("R16", "error", {"outcome": "died"}, {"outcome": "died", "cause_of_death": "undetermined"}),
    ("R17", "error", {"training_last_date": "2015-06-21"}, {"training_last_date": "2015-06-20"}),
    (
        "R17",
        "error",
        {"training_last_date": "2015-07-01", "training_date_precision": "month"},
        {"training_last_date": "2015-05-31", "training_date_precision": "month"},
    ),
    (
        "R17",
        "error",
        {"training_last_date": "2016-01-01", "training_date_precision": "year"},
        {"training_last_date": "2014-12-31", "training_date_precision": "year"},
    ),
    (
        "R17",
        "warning",
        {"training_last_date": "2015-06-02", "training_date_precision": "month"},
        {"training_last_date": "2015-06-02", "training_date_precision": "day"},
    ),
    (
        "R17",
        "warning",
        {"training_last_date": "2015-01-01", "training_date_precision": "unknown"},
        {"training_last_date": "2015-01-01", "training_date_precision": "day"},
    ),
    (
        "R18",
        "error",
        {"training_ever": "no", "training_type": "none"},
        {"training_ever": "no", "training_type": "none", "training_last_date": ""},
    ),
    (
        "R18",
        "error",
        {"training_ever": "no", "training_last_date": ""},
        {"training_ever": "no", "training_type": "", "training_last_date": ""},
    ),
    (
        "R18",
        "error",
        {"training_ever": "no", "training_type": "dry_only", "training_last_date": ""},
        {"training_ever": "no", "training_type": "unknown", "training_last_date": "unknown"},
    ),
    ("R19", "error", {"training_type": "none"}, {"training_type": "unknown"}),
    ("R20", "warning", {"training_evidence": "none"}, {"training_evidence": "inferred"}),
    ("R21", "error", {"ebs_used": "yes", "ebs_issued": "no"}, {"ebs_used": "yes", "ebs_issued": "yes"}),
    (
        "R21",
        "error",
        {"ebs_used": "yes", "ebs_issued": "na"},
        {"ebs_used": "yes", "ebs_issued": "unknown"},
    ),
    ("R32", "error", {"seat_row": "1"}, {"seat_row": "3"}),
]


@pytest.mark.parametrize(("rule", "severity", "bad", "good"), OCCUPANT_CASES)
def test_occupant_rules(study, rule, severity, bad, good):
    (finding,) = found(study.records([study.mishap()], study.people("M1", {}, bad)), rule)
    assert (finding.severity, finding.file, finding.row) == (severity, "occupant.csv", 3)
    assert finding.remedy
    assert not found(study.records([study.mishap()], study.people("M1", {}, good)), rule)


# rule, changes to the third person (who drowned inside) under which it must not fire, though something is missing
SILENT = [
    ("R22", {"t_rescue_min": "30", "body_location": "unknown"}),
    ("R22", {"t_rescue_min": "unknown", "body_location": "outside"}),
    ("R22", {"t_rescue_min": "30", "body_location": "inside", **LIVED}),
    (
        "R23",
        {"egress_lo_s": "700", "egress_hi_s": "inf", "t_rescue_min": "unknown", "egress_outcome": "self"},
    ),
    ("R23", {"egress_lo_s": "500", "egress_hi_s": "inf", "t_rescue_min": "10", "egress_outcome": "self"}),
    ("R24", {"cause_of_death": "drowning_outside", "t_death_hi_s": "50", "egress_lo_s": ""}),
    ("R25", {"body_location": "inside", "egress_outcome": "unknown"}),
    ("R25", {"body_location": "inside", "egress_outcome": "self", "re_entered": "unknown"}),
    ("R26", {"cause_of_death": "impact_trauma", "days_to_death": "unknown"}),
    ("R26", {"cause_of_death": "impact_trauma", "alive_at_immersion": "unknown"}),
    ("R31", {"adjacent_exit": "yes", "seats_to_exit": "unknown"}),
    ("R34", {"age_band": "80_plus"}),
    ("R34", {"age_band": "unknown", "role": "flight_crew"}),
    ("R43", {"injury_class_icao": "unknown"}),
]


@pytest.mark.parametrize(("rule", "changes"), SILENT)
def test_what_is_missing_or_unknown_breaks_no_rule(study, rule, changes):
    assert not found(study.records([study.mishap()], study.people("M1", {}, {}, changes)), rule)


# rule, severity, changes to the third person under which it must fire
FIRING = [
    ("R22", "warning", {"t_rescue_min": "na", "body_location": "outside"}),
    ("R22", "warning", {"t_rescue_min": "5", "body_location": "not_recovered"}),
    ("R23", "error", {"egress_lo_s": "631", "egress_hi_s": "inf", "t_rescue_min": "10"}),
    ("R23", "warning", {"egress_lo_s": "500", "egress_hi_s": "631", "t_rescue_min": "10"}),
    ("R25", "error", {"body_location": "inside", "egress_outcome": "washed_out"}),
    ("R26", "warning", {"cause_of_death": "impact_trauma", "days_to_death": ""}),
    ("R34", "warning", {"age_band": "75_to_79", "role": "flight_crew"}),
    ("R43", "error", {"outcome": "missing_presumed_dead", "injury_class_icao": "none"}),
]


@pytest.mark.parametrize(("rule", "severity", "changes"), FIRING)
def test_the_other_ways_to_break_a_rule(study, rule, severity, changes):
    (finding,) = found(study.records([study.mishap()], study.people("M1", {}, {}, changes)), rule)
    assert (finding.severity, finding.row) == (severity, 4)


@pytest.mark.parametrize(
    ("rule", "changes", "fires"),
    [
        ("R9", {"t_sink_lo_s": "9", "t_sink_hi_s": "8"}, True),
        ("R9", {"t_sink_lo_s": "9", "t_sink_hi_s": "inf"}, False),
        ("R27", {"t_capsize_lo_s": "9", "t_sink_hi_s": "inf"}, False),
        ("R27", {"t_capsize_hi_s": "9", "t_sink_lo_s": "5"}, False),
        ("R28", {"exits_usable": "4", "exits_total": "unknown"}, False),
        ("R29", {"floats_fitted": "unknown", "floats_deployed": "yes"}, False),
        ("R29", {"floats_fitted": "na", "floats_deployed": "yes"}, True),
        ("R30", {"immersion_type": "upright_afloat", "t_capsize_lo_s": "9"}, True),
        ("R30", {"immersion_type": "upright_afloat", "t_capsize_lo_s": "9", "t_capsize_hi_s": "inf"}, False),
        ("R30", {"immersion_type": "unknown", "t_capsize_hi_s": "9"}, False),
    ],
)
def test_spans_floats_and_exits(study, rule, changes, fires):
    assert bool(found(study.records([study.mishap(**changes)], study.people()), rule)) == fires


def test_r35_knows_the_classes_it_was_told_of_alone(study):
    records = study.records([study.mishap()], study.people("M1", {"seat_row": "9"}))
    for cabins, rows in (({"M1": 8}, [2]), ({"M1": 9}, []), ({"M2": 2}, []), ({}, [])):
        hits = [f for f in check_records(records, today=TODAY, cabins=cabins) if f.rule == "R35"]
        assert [f.row for f in hits] == rows


def exact(times):
    return [{"egress_lo_s": str(t), "egress_hi_s": str(t)} for t in times]


def test_r37_counts_exact_times_alone_and_needs_twenty(study):
    def records(times, changes=None):
        people = [
            {**study.people()[1], "occupant_id": str(i), "seat_row": "", **time, **(changes or {})}
            for i, time in enumerate(exact(times))
        ]
        return study.records([study.mishap()], people)

    (finding,) = found(records([5] * 13 + [6] * 7), "R37")
    assert finding.seen == "13 of 20 exact times are a multiple of 5 s"
    assert not found(records([5] * 12 + [6] * 8), "R37")
    assert not found(records([5] * 19), "R37")
    (ends,) = found(records([5] * 30, {"egress_hi_s": "10"}), "R37")
    assert (ends.severity, ends.field) == ("statement", "egress_hi_s")
    assert ends.seen == "30 of 30 ends of spans are a multiple of 10 s"
    assert not found(records([5] * 19, {"egress_hi_s": "10"}), "R37")
    guessed = {"egress_hi_s": "10", "egress_time_source": "self_estimate"}
    assert not found(records([5] * 30, guessed), "R37")


def test_an_accepted_rule_must_be_one_that_can_be_accepted(study):
    records = study.records([study.mishap(n_pax="3")], study.people())
    (standing,) = [f for f in check_records(records, today=TODAY, accepted={"R4": "why"}) if f.rule == "R4"]
    assert (standing.severity, standing.remedy) == ("accepted", "why")
    for rule in ("R1", "F1", "R39", "M2", "R99"):
        with pytest.raises(CallError, match=rule):
            check_records(records, today=TODAY, accepted={rule: "why"})


def test_a_finding_names_the_place_where_the_cell_really_stands(study):
    records = study.records([study.mishap(water_temp_c="99", sig_wave_height_m="9")], study.people())
    theirs = {"mishap": {
        "water_temp_c": Source("sea.xlsx, sheet 1", "Sea temp", np.array([41]), np.array(["210 F"], dtype=object)),
        "sig_wave_height_m": Source("waves.csv", "Hs", np.array([7]), np.array(["30 ft"], dtype=object)),
    }}  # fmt: skip
    records = dataclasses.replace(records, sources={**records.sources, **theirs})
    (cell,) = found(records, "R8")
    assert (cell.file, cell.row, cell.field, cell.seen) == (
        "sea.xlsx, sheet 1", 41, "water_temp_c (Sea temp)", "210 F",
    )  # fmt: skip
    (wave,) = found(records, "R7")
    assert (wave.file, wave.row, wave.field) == ("waves.csv", 7, "sig_wave_height_m (Hs)")
    assert wave.seen == "sig_wave_height_m = 30 ft, sea_state_wmo = 4"


def test_the_schema_tells_nothing_twice(study):
    records = study.records([study.mishap(event_date="soon")], study.people("M1", {}, {}, {"outcome": ""}))
    assert [f.rule for f in check_records(records, today=TODAY) if f.severity == "error"] == ["F3", "F4"]
    bare = dataclasses.replace(records, findings=())
    assert [rule for rule, _ in outside(bare)] == ["F1", "F4"]


def test_r12_does_not_excuse_a_cabin_that_sank(study):
    inside = {"egress_outcome": "not_egressed", "rescued_inside": "yes", **NO_TIME}
    sunk = study.records([study.mishap(immersion_type="sank")], study.people("M1", {}, inside))
    assert found(sunk, "R12")


def test_r1_keys(study):
    twice = study.records([study.mishap(), study.mishap()], study.people())
    assert [(f.file, f.row, f.severity) for f in found(twice, "R1")] == [("mishap.csv", 3, "error")]
    people = study.people("M1", {}, {"occupant_id": "0"})
    (finding,) = found(study.records([study.mishap()], people), "R1")
    assert (finding.file, finding.row) == ("occupant.csv", 3)
    both = study.people("M1") + study.people("M2")
    assert not found(study.records([study.mishap("M1"), study.mishap("M2")], both), "R1")


def test_r2_an_occupant_of_no_mishap(study):
    people = study.people() + study.people("M9")[:1]
    (finding,) = found(study.records([study.mishap()], people), "R2")
    assert (finding.row, finding.seen, finding.severity) == (5, "M9", "error")


@pytest.mark.parametrize(
    ("ascertained", "severity"), [("roster_all", "error"), ("mixed", "warning"), ("", "warning")]
)
def test_r3_weighs_more_where_everyone_was_looked_up(study, ascertained, severity):
    records = study.records([study.mishap(status_ascertained_by=ascertained)], study.people()[:2])
    (finding,) = found(records, "R3")
    assert finding.severity == severity
    assert "2 occupant rows for 3" in finding.seen


def test_r5_crew(study):
    too_many = study.records([study.mishap()], study.people("M1", {}, {"role": "technical_crew"}))
    assert [f.severity for f in found(too_many, "R5")] == ["warning"]
    too_few = study.records([study.mishap()], study.people("M1", {"role": "passenger"}))
    assert found(too_few, "R5")
    assert not found(study.records([study.mishap()], study.people("M1", {"role": "unknown"})), "R5")


def test_r42_one_mishap_from_two_sources(study):
    def two(**changes):
        second = study.mishap("M2", **{"aircraft_class": "M1", **changes})
        return study.records([study.mishap("M1"), second], study.people("M1") + study.people("M2"))

    (finding,) = found(two(), "R42")
    assert (finding.severity, finding.row) == ("warning", 3)
    for other in ({"event_date": "2015-06-21"}, {"aircraft_class": "X"}):
        assert not found(two(**other), "R42")
    unknown = study.mishap("M1", aircraft_class="unknown"), study.mishap("M2", aircraft_class="unknown")
    assert not found(study.records([*unknown], study.people("M1") + study.people("M2")), "R42")


NOT_KNOWN = {"training_ever": "unknown", "training_type": "unknown", "training_last_date": "unknown"}


def test_r38_and_r39_training_looked_up_for_survivors(study):
    alone = study.records([study.mishap()], study.people("M1", {}, {}, NOT_KNOWN))
    assert [f.severity for f in found(alone, "R38")] == ["warning"]
    assert "+100.0 points" in found(alone, "R39")[0].seen
    both = study.records([study.mishap()], study.people("M1", {}, NOT_KNOWN, NOT_KNOWN))
    assert not found(both, "R38")
    assert "1 of 1 dead and 1 of 2 survivors" in found(both, "R39")[0].seen
    assert "+50.0 points" in found(both, "R39")[0].seen


def test_r39_without_dead_or_survivors_says_no_gap(study):
    lived = study.people("M1", {}, {}, {**study.lived, "days_to_death": ""})
    assert "gap" not in found(study.records([study.mishap()], lived), "R39")[0].seen


def test_r40_all_dead_alike_in_three_mishaps(study):
    ids = ("M1", "M2", "M3")

    def three(*changes):
        return study.records(
            [study.mishap(i) for i in ids], [p for i in ids for p in study.people(i, *changes)]
        )

    assert [f.severity for f in found(three(), "R40")] == ["warning"]
    two = study.records([study.mishap(i) for i in ids[:2]], study.people("M1") + study.people("M2"))
    assert not found(two, "R40")
    nobody = {**study.untrained, "training_last_date": "", "training_date_precision": ""}
    assert not found(three(nobody, nobody), "R40")
    mixed = [p for i in ids[:2] for p in study.people(i)] + study.people("M3", {}, {}, study.trained)
    assert not found(study.records([study.mishap(i) for i in ids], mixed), "R40")


def test_r41_told_by_different_people(study):
    said, kin = {"training_evidence": "self_report"}, {"training_evidence": "next_of_kin"}
    (finding,) = found(study.records([study.mishap()], study.people("M1", said, said, kin)), "R41")
    assert finding.severity == "warning"
    assert not found(study.records([study.mishap()], study.people("M1", said, {}, kin)), "R41")


def timed(study, *mishaps):
    """Studies of survivors, one list of changes a mishap."""
    people = [
        {**study.people(f"M{k}")[1], "occupant_id": str(i), "seat_row": "", **changes}
        for k, theirs in enumerate(mishaps)
        for i, changes in enumerate(theirs)
    ]
    return study.records([study.mishap(f"M{k}") for k in range(len(mishaps))], people)


OTHERS = exact([21, 34, 27, 40, 55, 33])


def test_r36_four_times_alike_that_are_rare_elsewhere(study):
    (finding,) = found(timed(study, exact([12] * 4), OTHERS), "R36")
    assert (finding.row, finding.seen) == (2, "12 to 12 s for all 4 timed survivors of M0")
    assert not found(timed(study, exact([12] * 3), OTHERS), "R36")
    assert not found(timed(study, exact([12, 12, 12, 13]), OTHERS), "R36")
    assert not found(timed(study, exact([12] * 4)), "R36"), "nothing to compare with"
    assert not found(timed(study, exact([12] * 4), exact([12, 12, 12, 12, 12, 40])), "R36"), (
        "common elsewhere"
    )


@pytest.mark.parametrize(
    "change",
    [
        {"egress_lo_s": "10", "egress_hi_s": "22.5", "egress_time_source": "self_estimate"},
        {"egress_lo_s": "60", "egress_hi_s": "inf"},
        {"egress_lo_s": "0", "egress_hi_s": "30"},
        {"egress_lo_s": "", "egress_hi_s": "30"},
        {"egress_outcome": "not_egressed", "outcome": "died"},
    ],
)
def test_r36_a_time_that_says_little_is_no_copy(study, change):
    alike = [{**time, **change} for time in exact([12] * 6)]
    assert not found(timed(study, alike, OTHERS), "R36")


def test_r38_needs_four_in_five_survivors_and_less_than_half_of_the_dead(study):
    def records(unknown_alive, unknown_dead):
        ids = [f"M{k}" for k in range(5)]
        people = [
            person
            for k, id_ in enumerate(ids)
            for person in study.people(
                id_,
                {},
                NOT_KNOWN if k < unknown_alive else {},
                NOT_KNOWN if k < unknown_dead else {},
            )
        ]
        return study.records([study.mishap(id_) for id_ in ids], people)

    (finding,) = found(records(2, 3), "R38")
    assert finding.seen == "known for 8 of 10 survivors and 2 of 5 dead"
    assert not found(records(3, 3), "R38")
    assert not found(records(2, 2), "R38")


def test_r38_fires_where_the_records_say_so_themselves(study):
    said = study.mishap(status_ascertained_by="survivors_only", n_aboard="3")
    assert found(study.records([said], study.people()), "R38")
    assert not found(study.records([said], study.people()[:2]), "R38"), "nobody died"


def test_a_missing_outcome_is_neither_dead_nor_alive(study):
    people = study.people("M1", {}, {"outcome": ""}, NOT_KNOWN)
    (finding,) = found(study.records([study.mishap()], people), "R39")
    assert "unknown for 1 of 1 dead and 0 of 1 survivors" in finding.seen
    kin, said = {"training_evidence": "next_of_kin"}, {"training_evidence": "self_report"}
    people = study.people("M1", said, {"outcome": "", "training_evidence": "roster"}, kin)
    assert found(study.records([study.mishap()], people), "R41")


def test_r40_says_how_rare_it_is_and_is_silent_where_it_is_not(study):
    ids = ("M1", "M2", "M3")
    mishaps = [study.mishap(id_) for id_ in ids]
    (finding,) = found(study.records(mishaps, [p for i in ids for p in study.people(i)]), "R40")
    # three of nine untrained, all of them among the three dead: 1 of 84 ways
    assert finding.seen.endswith("and for 0 of 6 survivors; by lot this would be seen 1.2 times in 100")
    never = {**study.untrained, "training_last_date": "", "training_date_precision": ""}
    people = [p for i in ids for p in study.people(i, never)]
    # six of nine: comb(6, 3) / comb(9, 3) = 20 / 84
    assert not found(study.records(mishaps, people), "R40")


@pytest.mark.parametrize("rule", ["R12", "R15", "R17", "R18", "R26", "R38", "R40", "R41", "R43"])
def test_what_decides_or_must_be_read_cannot_be_accepted(study, rule):
    with pytest.raises(CallError, match=rule):
        check_records(study.records([study.mishap()], study.people()), today=TODAY, accepted={rule: "why"})


@pytest.mark.parametrize(
    ("first", "second", "fires"),
    [
        ({}, {"event_date": "2015-06-21"}, True),
        ({}, {"event_date": "2015-06-22"}, False),
        ({}, {"n_aboard": "4"}, True),
        ({}, {"n_aboard": "5"}, False),
        ({}, {"n_aboard": "unknown"}, True),
        ({}, {"aircraft_class": "unknown"}, True),
        ({"aircraft_class": "unknown"}, {"event_date": "2015-06-19", "n_aboard": "2"}, True),
        ({}, {"aircraft_class": "X"}, False),
        ({}, {}, False),  # R42 knows it to be one mishap
    ],
)
def test_r46_perhaps_one_mishap_under_two_ids(study, first, second, fires):
    mishaps = [study.mishap("M1", **{"aircraft_class": "B", **first})]
    mishaps += [study.mishap("M2", **{"aircraft_class": "B", **second})]
    records = study.records(mishaps, study.people("M1") + study.people("M2"))
    hits = found(records, "R46")
    assert [(f.severity, f.row) for f in hits] == ([("warning", 3)] if fires else [])
    assert all("not M1" in f.expected for f in hits)
    assert not derive(records, currency_months=24)["second_source"].any() or not fires


def test_rules_about_the_whole_study_look_at_its_people_alone(study):
    mishaps = [
        study.mishap("M1"),
        study.mishap("M2", event_date="1999-06-20"),
        study.mishap("M3", aircraft_class="M1", report_quality="D"),
    ]
    people = [p for i in ("M1", "M2", "M3") for p in study.people(i, {}, {}, NOT_KNOWN)]
    records = study.records(mishaps, people[:3] + people[3:4] + people[6:])
    everything = found(records, "R39")
    assert "1 of 1 dead and 0 of 3 survivors" in everything[0].seen
    assert found(records, "R45")[0].seen == "1 of 2 mishaps have one occupant row"
    late = check_records(records, today=TODAY, population=PopulationFilter(first_year=2010))
    assert "1 of 1 dead and 0 of 2 survivors" in next(f.seen for f in late if f.rule == "R39")
    assert next(f.seen for f in late if f.rule == "R45") == "0 of 1 mishaps have one occupant row"
    nobody = check_records(records, today=TODAY, population=PopulationFilter(roles=("flight_crew",)))
    assert "0 of 0 dead and 0 of 2 survivors" in next(f.seen for f in nobody if f.rule == "R39")
    kept = check_records(records, today=TODAY, population=PopulationFilter(alike_kept=True))
    assert "2 of 2 dead and 0 of 5 survivors" in next(f.seen for f in kept if f.rule == "R39")


def test_r44_counts_the_rows_to_which_a_field_applies(study):
    lived_on = study.records([study.mishap()], study.people("M1", {}, {}, {"days_to_death": "unknown"}))
    assert not any(f.field == "days_to_death" for f in found(lived_on, "R44"))
    people = study.people("M1", {}, study.drowned, {"days_to_death": "unknown"})
    people[1]["days_to_death"] = ""
    (finding,) = found(study.records([study.mishap()], people), "R44")
    assert (finding.field, finding.seen) == ("days_to_death", "1 unknown and 1 not collected")


def test_a_finding_about_a_whole_table_names_the_sheet_of_its_field(study):
    records = study.records([study.mishap()], study.people())
    roster = Source(
        "records.xlsx, sheet roster", "training_ever", np.array([2, 3, 4]), np.array(["yes"] * 3, object)
    )
    records = dataclasses.replace(records, sources={**records.sources, "occupant": {"training_ever": roster}})
    assert found(records, "R39")[0].file == "records.xlsx, sheet roster"


def test_errors_come_first_and_reading_findings_are_among_them(study):
    people = study.people("M1", {"role": "pilot"}, {"training_evidence": "none"}, {"seat_side": "L"})
    severities = [f.severity for f in check_records(study.records([study.mishap()], people), today=TODAY)]
    assert severities == sorted(severities, key=["error", "warning", "statement"].index)
    assert {"F1", "R20", "R32", "R39"} <= {r for r, _ in rules(study.records([study.mishap()], people))}


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_no_invented_study_has_an_error(name):
    folder = demo_folder(name)
    runs = folder / "training_run.csv"
    records = read_records(folder / "mishap.csv", folder / "occupant.csv", training_run_path=runs)
    cabins = {"A_twin_2c8p": 5, "B_light_1c4p": 3, "C_heavy_3c16p": 10}
    found_in = check_records(records, today=datetime.date(2026, 11, 25), cabins=cabins)
    assert not [f for f in found_in if f.severity == "error"]
    assert "R39" in {f.rule for f in found_in}
    assert not {"R36", "R40", "R41", "R46"} & {f.rule for f in found_in}, "nothing of the kind is planted"
    assert ("R38" in {f.rule for f in found_in}) == (name == "demo_survivor_only")
