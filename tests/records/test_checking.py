import datetime

import pytest

from survstats.records.checking import check_records
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.records.loading import read_records

TODAY = datetime.date(2020, 1, 1)


def rules(records, today=TODAY):
    return {(f.rule, f.severity) for f in check_records(records, today=today)}


def found(records, rule, today=TODAY):
    return [f for f in check_records(records, today=today) if f.rule == rule]


def test_the_study_without_fault_has_the_statement_only(study):
    assert rules(study.records([study.mishap()], study.people())) == {("R39", "statement")}


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
    assert (finding.row, finding.field, finding.expected) == (2, "n_aboard", "1 to 400 people")


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
        {"training_last_date": "2015-06-30", "training_date_precision": "month"},
    ),
    (
        "R17",
        "error",
        {"training_last_date": "2016-01-01", "training_date_precision": "year"},
        {"training_last_date": "2015-12-31", "training_date_precision": "year"},
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
    ("R19", "error", {"training_type": "none"}, {"training_type": "unknown"}),
    ("R20", "warning", {"training_evidence": "none"}, {"training_evidence": "inferred"}),
    ("R21", "error", {"ebs_used": "yes", "ebs_issued": "no"}, {"ebs_used": "yes", "ebs_issued": "yes"}),
    ("R32", "error", {"seat_row": "1"}, {"seat_row": "3"}),
]


@pytest.mark.parametrize(("rule", "severity", "bad", "good"), OCCUPANT_CASES)
def test_occupant_rules(study, rule, severity, bad, good):
    (finding,) = found(study.records([study.mishap()], study.people("M1", {}, bad)), rule)
    assert (finding.severity, finding.file, finding.row) == (severity, "occupant.csv", 3)
    assert finding.remedy
    assert not found(study.records([study.mishap()], study.people("M1", {}, good)), rule)


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


def test_errors_come_first_and_reading_findings_are_among_them(study):
    people = study.people("M1", {"role": "pilot"}, {"training_evidence": "none"}, {"seat_side": "L"})
    severities = [f.severity for f in check_records(study.records([study.mishap()], people), today=TODAY)]
    assert severities == sorted(severities, key=["error", "warning", "statement"].index)
    assert {"F1", "R20", "R32", "R39"} <= {r for r, _ in rules(study.records([study.mishap()], people))}


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_no_invented_study_has_an_error(name):
    folder = demo_folder(name)
    records = read_records(folder / "mishap.csv", folder / "occupant.csv")
    found_in = check_records(records, today=datetime.date(2026, 1, 1))
    assert not [f for f in found_in if f.severity == "error"]
    assert "R39" in {f.rule for f in found_in}
