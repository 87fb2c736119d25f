"""Which of our fields does a column's name speak of, and which unit does it name?

The trade's usual words and everyday ones; a name that is not in the list is left to a person.
"""

from __future__ import annotations

import re

from survstats.records.codebook import TableName, load_codebook

_UNIT_WORDS = {
    "ft": "ft", "feet": "ft", "foot": "ft", "m": "m", "metres": "m", "meters": "m", "cm": "cm", "km": "km",
    "in": "in", "inches": "in", "nm": "NM", "kt": "kt", "kts": "kt", "knots": "kt", "mph": "mph", "kmh": "km/h",
    "kph": "km/h", "ms": "m/s", "c": "degC", "degc": "degC", "celsius": "degC", "f": "degF", "degf": "degF",
    "fahrenheit": "degF", "s": "s", "sec": "s", "secs": "s", "seconds": "s", "min": "min", "mins": "min",
    "minutes": "min", "h": "h", "hrs": "h", "hours": "h", "days": "days", "weeks": "weeks", "months": "months",
    "years": "years", "yrs": "years",
}  # fmt: skip

_MISHAP_ID = (
    "mishap mishap_no accident accident_id accident_no accident_number accident_ref case case_id case_no case_number "
    "case_ref event event_id event_no incident incident_id incident_no occurrence occurrence_id occurrence_no "
    "ref ref_no reference reference_no file_no file_number file_ref report_no report_number report_id"
)
_LOCAL_TIMES = "local_time time_local time_of_day time_of_accident accident_time time_lt lt time"
_WORDS: dict[TableName, dict[str, str]] = {
    "mishap": {
        "mishap_id": _MISHAP_ID,
        "event_date": "date day accident_date date_of_accident date_of_occurrence"
        " occurrence_date event_day mishap_date",
        "event_time_utc": "time_utc utc utc_time time_z time_gmt gmt zulu zulu_time",
        "operator_code": "operator company airline operated_by",
        "region_code": "region area sea_area",
        "aircraft_class": "aircraft aircraft_type aircraft_model helicopter helicopter_type"
        " type_of_aircraft type_of_helicopter",
        "n_crew": "crew crew_on_board number_of_crew",
        "n_pax": "pax passengers passengers_on_board number_of_passengers",
        "n_aboard": "aboard on_board persons_on_board people_on_board pob souls souls_on_board"
        " total_aboard total_on_board",
        "flight_phase": "phase phase_of_flight",
        "event_type": "accident_type event_category occurrence_type type_of_impact impact_type",
        "impact_survivability": "survivability",
        "impact_severity": "severity",
        "sea_state_wmo": "sea_state sea",
        "sig_wave_height_m": "wave_height wave_ht wave_hgt waveheight significant_wave_height"
        " sig_wave_ht sig_wave_height swh hs waves",
        "water_temp_c": "water_temp water_temperature sea_temp sea_temperature sea_surface_temperature sst",
        "air_temp_c": "air_temp air_temperature oat",
        "wind_kt": "wind wind_speed wind_velocity",
        "light": "light_conditions lighting day_night day_or_night",
        "immersion_type": "capsized capsize capsizing inverted rolled_over",
        "floats_fitted": "floats",
        "floats_deployed": "floats_inflated floats_activated flotation_deployed",
        "report_source": "source report",
        "coder_id": "coder coded_by",
    },
    "occupant": {
        "mishap_id": _MISHAP_ID,
        "occupant_id": "occupant occupant_no person person_id person_no pax_no victim victim_no",
        "role": "position duty crew_or_passenger",
        "age_band": "age age_years age_group",
        "sex": "gender",
        "seat_row": "row",
        "seat_side": "side",
        "exit_distance_m": "distance_to_exit exit_distance",
        "training_ever": "trained training huet huet_trained huet_training uet underwater_escape_training",
        "training_type": "type_of_training training_course",
        "training_last_date": "training_date last_training date_of_training last_training_date",
        "training_evidence": "training_source",
        "suit_worn": "suit immersion_suit survival_suit",
        "lifejacket_worn": "lifejacket life_jacket life_vest lifevest",
        "alive_at_immersion": "alive_on_impact survived_impact",
        "egress_outcome": "egress escape escaped",
        "egress_lo_s": "egress_time escape_time time_to_escape time_to_egress",
        "egress_hi_s": "egress_time escape_time time_to_escape time_to_egress",
        "exit_used": "exit",
        "t_rescue_min": "time_to_rescue rescue_time",
        "outcome": "survived survival fate status survivor killed died dead deceased fatal fatality fatalities lived",
        "injury_class_icao": "injury injuries injury_class injury_level injury_severity",
        "cause_of_death": "cause",
        "body_location": "body_found",
    },
    "training_run": {
        "person_code": "trainee trainee_id student student_id",
        "run_date": "date training_date course_date",
        "run_no": "run run_number exercise",
        "course": "course_type",
        "months_since_last": "months_since_last_course",
        "exit_type": "exit",
        "breathing_set_used": "breathing_set",
        "suit_worn": "suit",
        "water_temp_c": "water_temp water_temperature pool_temperature",
        "time_out_s": "time_out egress_time escape_time time",
        "result": "outcome passed",
    },
}  # fmt: skip


def fields_named(column: str, table: TableName) -> tuple[str, ...]:
    """Our fields of a table that a column of that name is likely to hold."""
    folded = _folded(column)
    names = {folded, _without_unit(folded)}
    own = [field.name for field in load_codebook().table(table) if _folded(field.name) == folded]
    return tuple(own or (name for name, words in _WORDS[table].items() if names & set(words.split())))


def is_local_time(column: str) -> bool:
    """Whether a column of that name may hold times of day by the clock of a place."""
    return _folded(column) in _LOCAL_TIMES.split()


def unit_named(column: str) -> str:
    """The unit that a column's name ends in, or an empty text."""
    last = _folded(column).rpartition("_")[2]
    return _UNIT_WORDS.get(last, "") if last != _folded(column) else ""


def same_word(text: str, values: tuple[str, ...]) -> str:
    """The value of ours that is the same word, capitals and signs aside, or an empty text."""
    return next((value for value in values if value and _folded(value) == _folded(text)), "")


def _folded(name: str) -> str:
    return re.sub(r"[\W_]+", "_", name.casefold()).strip("_")


def _without_unit(folded: str) -> str:
    head, _, last = folded.rpartition("_")
    return head if last in _UNIT_WORDS else folded
