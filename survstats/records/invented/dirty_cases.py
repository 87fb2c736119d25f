"""Which small mistake breaks each rule, and what does the same place look like where nothing is wrong?

A change reads ``table row field=text``, rows as a spreadsheet counts them; ``*`` is every survivor, who get the
texts between slashes in turn; ``table row -`` removes a row. The mistake stands at the first change unless
``planted`` says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Form = Literal["comma", "semicolon", "sheets", "roster", "mapped", "wide"]


@dataclass(frozen=True)
class DirtyCase:
    """One rule: changes to the clean study that break it, and the changes of its passing twin.

    Attributes
    ----------
    rule : str
        Its id.
    fails, passes : str
        Changes, separated by " | ".
    planted : str
        ``table row field`` of each finding, separated by " | "; ``-`` for no row; empty: the first change.
    mishaps : int
        How many mishaps the study has.
    form : str
        How it is stored: CSV with commas or semicolons, sheets of a workbook without or with a roster sheet, a
        mishap table of other names with a mapping, or one wide table with a mapping.
    twin_form : str, optional
        The same for the passing twin, where it differs.
    study : str
        What is added to the study file.
    mapping, twin_mapping : str
        What is said of the mishap table in the mapping, and in that of the passing twin where it differs.
    """

    rule: str
    fails: str
    passes: str = ""
    planted: str = ""
    mishaps: int = 2
    form: Form = "comma"
    twin_form: Form | None = None
    study: str = ""
    mapping: str = ""
    twin_mapping: str | None = None


_SIX_ABOARD = (
    "mishap 2 n_aboard=6 | mishap 2 n_pax=4 | mishap 2 n_crew=2 | mishap 3 -"
    " | occupant 5 mishap_id=VS-001 | occupant 5 occupant_id=4 | occupant 5 seat_row=3"
    " | occupant 6 mishap_id=VS-001 | occupant 6 occupant_id=5 | occupant 6 seat_row=4"
    " | occupant 7 mishap_id=VS-001 | occupant 7 occupant_id=6 | occupant 7 seat_row=4"
)
_TIMES = "occupant * egress_lo_s=12/12/12/{0}/21/34/27/40 | occupant * egress_hi_s=12/12/12/{0}/21/34/27/40"
_NOT_KNOWN = (
    "occupant {0} training_ever=unknown | occupant {0} training_type=unknown"
    " | occupant {0} training_last_date=unknown"
)
_NEVER = (
    "occupant {0} training_ever=no | occupant {0} training_type=none | occupant {0} training_last_date=na"
)

_IGNORED = 'ignore = ["Remarks"]'
_LOCAL_TIME = """

[mishap.local_time]
date_column = "event_date"
time_column = "Clock"
zone = "Europe/Oslo"
"""

CASES = (
    DirtyCase("F1", "occupant 3 role=pilot", "occupant 3 role=passenger"),
    DirtyCase("F2", "mishap 2 water_temp_c=cold", "mishap 2 water_temp_c=9.5"),
    DirtyCase("F3", "occupant 2 training_last_date=2014-06-31", "occupant 2 training_last_date=2014-06-30"),
    DirtyCase("F4", "occupant 4 outcome=", "occupant 4 outcome=died"),
    DirtyCase("F5", "occupant 2 suit_worn=1", "occupant 2 suit_worn=yes"),
    DirtyCase("F6", "mishap 2 wind_kt=-3", "mishap 2 wind_kt=0"),
    DirtyCase("F7", "mishap 2 moonphase=3", "mishap 2 wind_kt=3", planted="mishap 1 moonphase"),
    DirtyCase("F8", "", "mishap 2 light=day", planted="mishap 1 light"),
    DirtyCase("F9", "", "", planted="mishap - - | occupant - -", form="semicolon", twin_form="comma"),
    DirtyCase(
        "F10",
        "mishap 2 water_temp_c=9,5",
        "mishap 2 water_temp_c=9.5",
        planted="mishap - -",
        form="semicolon",
    ),
    DirtyCase(
        "F11",
        "mishap 2 coding_date=20.06.2016",
        "mishap 2 coding_date=2016-06-20",
        planted="mishap - coding_date",
    ),
    DirtyCase(
        "F12",
        "roster 4 occupant_id=4",
        "",
        planted="roster 4 occupant_id | occupant 4 occupant_id",
        form="roster",
    ),
    DirtyCase("F13", "mishap 2 wind_kt==3+4", "mishap 2 wind_kt=7", form="sheets"),
    DirtyCase(
        "F14",
        " | ".join(f"occupant {row} -" for row in range(7, 1, -1)),
        planted="roster - -",
        form="roster",
    ),
    DirtyCase("M1", "", planted="mishap 1 Remarks", form="mapped", twin_mapping=_IGNORED),
    DirtyCase(
        "M2",
        "mishap 2 Phase=HOV",
        "mishap 2 Phase=CRZ",
        planted="mishap 2 flight_phase (Phase)",
        form="mapped",
        mapping=_IGNORED,
    ),
    DirtyCase("M3", "wide 3 light=night", "wide 3 light=day", form="wide"),
    DirtyCase(
        "M4",
        "mishap 2 Water=cold",
        "mishap 2 Water=48.2",
        planted="mishap 2 water_temp_c (Water)",
        form="mapped",
        mapping=_IGNORED,
    ),
    DirtyCase("M5", "", planted="mishap - -", form="mapped", twin_form="comma", mapping=_IGNORED),
    DirtyCase(
        "M6",
        "mishap 2 Clock=10:30",
        "mishap 2 Clock=10:30 | mishap 3 Clock=11:00",
        planted="mishap - Clock",
        form="mapped",
        mapping=_IGNORED + _LOCAL_TIME,
    ),
    DirtyCase(
        "M7",
        "",
        planted="mapping - status_ascertained_by",
        form="mapped",
        mapping='ignore = ["Remarks", "status_ascertained_by"]\nnot_collected = ["status_ascertained_by"]',
        twin_mapping=_IGNORED,
    ),
    DirtyCase("R1", "occupant 3 occupant_id=1", "occupant 3 occupant_id=4"),
    DirtyCase("R2", "occupant 7 mishap_id=VS-009 | mishap 3 n_aboard=2 | mishap 3 n_pax=1"),
    DirtyCase("R3", "mishap 2 n_aboard=4 | mishap 2 n_pax=3"),
    DirtyCase("R4", "mishap 2 n_pax=3", "mishap 2 n_pax=unknown", planted="mishap 2 n_aboard"),
    DirtyCase("R5", "occupant 3 role=technical_crew", "occupant 3 role=unknown", planted="mishap 2 n_crew"),
    DirtyCase("R6", "mishap 2 sea_state_wmo=10", "mishap 2 sea_state_wmo=9"),
    DirtyCase(
        "R7",
        "mishap 2 sig_wave_height_m=2.6 | mishap 2 sea_state_wmo=4",
        "mishap 2 sig_wave_height_m=2.5 | mishap 2 sea_state_wmo=4",
    ),
    DirtyCase("R8", "mishap 2 water_temp_c=35.1", "mishap 2 water_temp_c=35"),
    DirtyCase(
        "R9",
        "occupant 2 egress_lo_s=21 | occupant 2 egress_hi_s=20 | mishap 2 warning_time_s_lo=9"
        " | mishap 2 warning_time_s_hi=8",
        "occupant 2 egress_lo_s=20 | occupant 2 egress_hi_s=20 | mishap 2 warning_time_s_lo=8"
        " | mishap 2 warning_time_s_hi=inf",
        planted="mishap 2 warning_time_s_lo | occupant 2 egress_lo_s",
    ),
    DirtyCase("R10", "occupant 2 t_rescue_min=-5", "occupant 2 t_rescue_min=0"),
    DirtyCase(
        "R11",
        "occupant 2 egress_outcome=unknown | occupant 2 egress_lo_s=10 | occupant 2 egress_hi_s=20",
        "occupant 2 egress_outcome=unknown | occupant 2 egress_lo_s=10 | occupant 2 egress_hi_s=inf",
    ),
    DirtyCase(
        "R12",
        "occupant 3 egress_outcome=not_egressed | occupant 3 rescued_inside=no",
        "occupant 3 egress_outcome=not_egressed | occupant 3 rescued_inside=yes",
    ),
    DirtyCase("R13", "occupant 4 alive_at_immersion=no", "occupant 4 alive_at_immersion=unknown"),
    DirtyCase("R14", "occupant 2 injury_class_icao=fatal", "occupant 2 injury_class_icao=serious"),
    DirtyCase("R15", "occupant 2 days_to_death=30", "occupant 2 days_to_death=31"),
    DirtyCase("R16", "occupant 4 cause_of_death=na", "occupant 4 cause_of_death=undetermined"),
    DirtyCase("R17", "occupant 2 training_last_date=2015-06-21", "occupant 2 training_last_date=2015-06-20"),
    DirtyCase(
        "R18",
        "occupant 4 training_type=underwater_escape",
        "occupant 4 training_type=unknown",
        planted="occupant 4 training_ever",
    ),
    DirtyCase("R19", "occupant 2 training_type=none", "occupant 2 training_type=unknown"),
    DirtyCase("R20", "occupant 2 training_evidence=none", "occupant 2 training_evidence=inferred"),
    DirtyCase(
        "R21",
        "occupant 2 ebs_issued=no | occupant 2 ebs_used=yes",
        "occupant 2 ebs_issued=unknown | occupant 2 ebs_used=yes",
    ),
    DirtyCase(
        "R22",
        "occupant 4 t_rescue_min=30 | occupant 4 body_location=inside",
        "occupant 4 t_rescue_min=30 | occupant 4 body_location=outside",
    ),
    DirtyCase(
        "R23",
        "occupant 2 egress_hi_s=720 | occupant 2 egress_lo_s=700 | occupant 2 t_rescue_min=10",
        "occupant 2 egress_hi_s=720 | occupant 2 egress_lo_s=700 | occupant 2 t_rescue_min=12",
    ),
    DirtyCase(
        "R24",
        "occupant 4 t_death_hi_s=50 | occupant 4 egress_lo_s=60 | occupant 4 egress_hi_s=80"
        " | occupant 4 egress_outcome=self | occupant 4 cause_of_death=drowning_outside",
        "occupant 4 t_death_hi_s=70 | occupant 4 egress_lo_s=60 | occupant 4 egress_hi_s=80"
        " | occupant 4 egress_outcome=self | occupant 4 cause_of_death=drowning_outside",
    ),
    DirtyCase(
        "R25",
        "occupant 4 body_location=inside | occupant 4 egress_outcome=self | occupant 4 re_entered=no",
        "occupant 4 body_location=inside | occupant 4 egress_outcome=self | occupant 4 re_entered=yes",
    ),
    DirtyCase(
        "R26",
        "occupant 4 cause_of_death=impact_trauma",
        "occupant 4 cause_of_death=impact_trauma | occupant 4 alive_at_immersion=no",
    ),
    DirtyCase(
        "R27",
        "mishap 2 t_capsize_lo_s=60 | mishap 2 t_capsize_hi_s=70 | mishap 2 t_sink_lo_s=10"
        " | mishap 2 t_sink_hi_s=50",
        "mishap 2 t_capsize_lo_s=60 | mishap 2 t_capsize_hi_s=70 | mishap 2 t_sink_lo_s=10"
        " | mishap 2 t_sink_hi_s=65",
    ),
    DirtyCase(
        "R28",
        "mishap 2 exits_usable=5 | mishap 2 exits_total=4",
        "mishap 2 exits_usable=4 | mishap 2 exits_total=4",
    ),
    DirtyCase(
        "R29",
        "mishap 2 floats_fitted=no | mishap 2 floats_deployed=yes",
        "mishap 2 floats_fitted=yes | mishap 2 floats_deployed=yes",
    ),
    DirtyCase(
        "R30",
        "mishap 2 immersion_type=upright_afloat | mishap 2 t_capsize_lo_s=10 | mishap 2 t_capsize_hi_s=20",
        "mishap 2 immersion_type=upright_afloat | mishap 2 t_capsize_lo_s=10 | mishap 2 t_capsize_hi_s=inf",
    ),
    DirtyCase(
        "R31",
        "occupant 2 adjacent_exit=yes | occupant 2 seats_to_exit=1",
        "occupant 2 adjacent_exit=yes | occupant 2 seats_to_exit=0",
    ),
    DirtyCase("R32", "occupant 3 seat_row=1", "occupant 3 seat_row=3"),
    DirtyCase("R33", "mishap 3 event_date=2199-01-01", "mishap 3 event_date=2019-01-01"),
    DirtyCase("R34", "occupant 2 age_band=10_to_14", "occupant 2 age_band=15_to_19"),
    DirtyCase(
        "R35",
        "occupant 3 seat_row=6",
        "occupant 3 seat_row=5",
        study="\n[cabin.A_twin_2c8p]\nrows = 5\n",
    ),
    DirtyCase(
        "R36",
        f"{_SIX_ABOARD} | {_TIMES.format(12)}",
        f"{_SIX_ABOARD} | {_TIMES.format(13)}",
        planted="occupant 2 egress_lo_s",
        mishaps=4,
    ),
    DirtyCase(
        "R37",
        "occupant * egress_lo_s=10/20/25/30/31 | occupant * egress_hi_s=10/20/25/30/31",
        "occupant * egress_lo_s=10/20/25/32/31 | occupant * egress_hi_s=10/20/25/32/31",
        planted="occupant - egress_lo_s",
        mishaps=10,
    ),
    DirtyCase(
        "R38",
        f"{_NOT_KNOWN.format(4)} | {_NOT_KNOWN.format(7)}",
        _NOT_KNOWN.format(4),
        planted="occupant - training_ever",
    ),
    DirtyCase("R39", _NOT_KNOWN.format(4), "", planted="occupant - training_ever"),
    DirtyCase("R40", _NEVER.format(7), "", planted="occupant - training_ever", mishaps=3),
    DirtyCase(
        "R41",
        "occupant * training_evidence=self_report | occupant 4 training_evidence=next_of_kin"
        " | occupant 7 training_evidence=next_of_kin",
        "occupant * training_evidence=self_report | occupant 4 training_evidence=next_of_kin",
        planted="occupant - training_evidence",
    ),
    DirtyCase("R42", "mishap 3 event_date=2015-06-20", planted="mishap 3 mishap_id"),
    DirtyCase(
        "R43",
        "occupant 4 injury_class_icao=minor | occupant 4 days_to_death=",
        "occupant 4 injury_class_icao=fatal | occupant 4 days_to_death=",
    ),
    DirtyCase(
        "R44",
        "occupant 2 t_rescue_min=unknown",
        "occupant 2 t_rescue_min=20",
        planted="occupant - t_rescue_min",
    ),
    DirtyCase(
        "R45",
        "occupant 7 - | occupant 6 - | mishap 3 n_aboard=1 | mishap 3 n_pax=0",
        planted="mishap - -",
    ),
    DirtyCase(
        "R46",
        "mishap 3 event_date=2015-06-21",
        "mishap 3 event_date=2015-06-22",
        planted="mishap 3 mishap_id",
    ),
    DirtyCase("T1", "training_run 3 run_no=1"),
    DirtyCase("T2", "training_run 3 time_out_s=0", "training_run 3 time_out_s=0.1"),
    DirtyCase("T3", "training_run 3 time_out_s=", "training_run 3 time_out_s=unknown"),
    DirtyCase(
        "T4",
        "training_run 3 breathing_set_taught=no | training_run 3 breathing_set_used=yes",
        "training_run 3 breathing_set_taught=yes | training_run 3 breathing_set_used=yes",
    ),
    DirtyCase("T5", "training_run 2 months_since_last=24", "training_run 2 months_since_last=na"),
    DirtyCase("T6", "training_run 4 run_date=2199-01-01", "training_run 4 run_date=2020-01-01"),
)
