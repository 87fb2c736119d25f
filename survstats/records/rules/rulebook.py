"""Which rules are there, how much does each weigh, and what is to be done where it is broken?

The one list of them: F single cells and files, M mappings, R what fields say together, T trainer runs. What a
rule looks for stands in the modules that find it (reading, mappings, and those beside this one).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from survstats.records.finding import Severity


@dataclass(frozen=True)
class RuleCard:
    """What a person needs to know of one rule.

    Attributes
    ----------
    id : str
        "F1" to "T6".
    severity : {"error", "warning", "statement"}
        What its findings weigh; some of them weigh less or more, as the rule's own text says.
    title : str
        What is wrong, in plain words, at most 60 characters.
    remedy : str
        What to do.
    acceptable : bool
        Whether a study file may let it stand, with a reason.
    """

    id: str
    severity: Severity
    title: str
    remedy: str
    acceptable: bool


# Cells that are no value at all, keys that do not hold and statements cannot be let stand.
_KEYS = ("R1", "R2", "T1")
# Nor can what decides who was trained, who died and who belongs to the population.
_DECISIVE = ("R12", "R13", "R14", "R15", "R16", "R17", "R18", "R19", "R26", "R33", "R43")
#: Rules about records that seem to know who lived: they are said on the papers whatever the study file accepts.
BANNERS = ("R38", "R40", "R41")
_NEVER = (*_KEYS, *_DECISIVE, *BANNERS)


def _card(id_: str, severity: Severity, title: str, remedy: str) -> RuleCard:
    acceptable = severity != "statement" and not id_.startswith("F") and id_ not in _NEVER
    if id_.startswith("M"):
        acceptable = severity == "warning"
    return RuleCard(id_, severity, title, remedy, acceptable)


_CARDS = (
    _card("F1", "error", "A code that the codebook does not have", "write one of the codes"),
    _card("F2", "error", "Not a number", "write the number alone, or unknown"),
    _card("F3", "error", "Not a date, or a date that can be read two ways", "write it as YYYY-MM-DD"),
    _card("F4", "error", "No value where every row must have one", "enter it"),
    _card("F5", "error", "True or false where yes, no or unknown belongs", "write the word"),
    _card("F6", "error", "A number outside its limits", "correct the number or its unit"),
    _card("F7", "warning", "A column that is not in the codebook", "rename it, delete it or leave it"),
    _card("F8", "statement", "A column of the codebook that is not there", "read as not collected"),
    _card("F9", "statement", "Another encoding or another separator", "nothing, if it was read rightly"),
    _card("F10", "statement", "The numbers were read with a decimal comma", "nothing, if that is right"),
    _card("F11", "statement", "The dates were read in another form", "nothing, if days and months are right"),
    _card("F12", "error", "A person on the roster sheet or the occupant sheet alone", "enter both rows"),
    _card("F13", "error", "A formula or a faulty cell in a workbook", "enter the value itself"),
    _card("F14", "statement", "A roster without outcomes yet", "enter them on the occupant sheet"),
    _card("M1", "warning", "A column that the mapping does not mention", "map it, or list it under ignore"),
    _card("M2", "error", "A text that the mapping does not translate", "add it to the mapping"),
    _card("M3", "error", "Rows of one mishap that contradict each other", "correct one of the rows"),
    _card(
        "M4",
        "error",
        "A text that the mapping cannot turn into a value",
        "correct it, or list it under codes",
    ),
    _card("M5", "statement", "A table read through a mapping", "nothing, if the mapping is right"),
    _card("M6", "statement", "Rows without a time of day", "their local day stands as the day in UTC"),
    _card("M7", "statement", "A field that was not collected", "read as not collected"),
    _card("R1", "error", "The same code twice", "delete the second row, or give it its own id"),
    _card("R2", "error", "A person of a mishap that is not there", "add the mishap, or correct the id"),
    _card(
        "R3",
        "warning",
        "Fewer or more people in the records than were aboard",
        "add the missing rows, the dead included, or correct n_aboard",
    ),
    _card("R4", "error", "Crew and passengers do not add up", "correct whichever of the three is wrong"),
    _card("R5", "warning", "Roles do not match the number of crew", "correct n_crew or the roles"),
    _card("R6", "error", "A sea state that is no code", "write a code from 0 to 9, or unknown"),
    _card("R7", "error", "Wave height and sea state disagree", "correct the height or the code"),
    _card("R8", "error", "Water too cold or too warm to be true", "correct the number or its unit"),
    _card("R9", "error", "A time span that ends before it begins", "exchange or correct the two times"),
    _card("R10", "error", "A time that cannot be", "correct the number or its unit"),
    _card("R11", "error", "A time out, but no way out", "say how the person got out, or remove the time"),
    _card(
        "R12",
        "error",
        "A survivor who never left the cabin",
        "correct egress_outcome, outcome or rescued_inside",
    ),
    _card(
        "R13",
        "error",
        "Dead at immersion, but lived, drowned or got out",
        "correct alive_at_immersion, or what contradicts it",
    ),
    _card("R14", "error", "A survivor with a fatal injury", "correct the injury class or the outcome"),
    _card(
        "R15",
        "error",
        "Days to death, injury and outcome disagree",
        "correct the days, the injury class or the outcome; keep the days",
    ),
    _card("R16", "error", "A death without a cause", "enter the cause of death, or undetermined"),
    _card(
        "R17",
        "error",
        "Trained after the mishap, or perhaps so",
        "enter the last course before the mishap, and its day where only month or year is known",
    ),
    _card("R18", "error", "Never trained, but with a course", "correct training_ever, or the type and date"),
    _card("R19", "error", "Trained, but in no kind of training", "enter the type, or unknown"),
    _card("R20", "warning", "Hands-on training without evidence", "ask for the certificate or the roster"),
    _card("R21", "error", "A breathing set used but not issued", "correct ebs_issued or ebs_used"),
    _card(
        "R22",
        "warning",
        "A time of rescue that does not fit the outcome",
        "correct the time, the outcome or the place of the body",
    ),
    _card(
        "R23", "error", "Out of the cabin after being rescued", "correct the time out or the time of rescue"
    ),
    _card("R24", "error", "Drowned outside before getting out", "correct the times or the cause of death"),
    _card(
        "R25",
        "error",
        "Found inside, but got out",
        "correct body_location or egress_outcome, or say yes or unknown in re_entered",
    ),
    _card(
        "R26",
        "warning",
        "Killed by the impact, but alive at immersion",
        "correct one of the two, or enter the days to death",
    ),
    _card("R27", "error", "Capsized after it sank", "correct the times"),
    _card("R28", "error", "More usable exits than exits", "correct one of the two numbers"),
    _card("R29", "error", "Floats deployed that were not fitted", "correct floats_fitted or floats_deployed"),
    _card(
        "R30",
        "error",
        "Stayed upright, but with a time of capsize",
        "correct the posture, or remove the time",
    ),
    _card("R31", "warning", "Beside an exit, with seats between", "correct adjacent_exit or seats_to_exit"),
    _card(
        "R32",
        "error",
        "Two people in one seat",
        "correct the seat of one; where the codes are coarser than the seats, let the rule stand",
    ),
    _card("R33", "error", "A mishap in the future", "correct the date"),
    _card("R34", "warning", "A flight crew member too young or too old", "correct the age or the role"),
    _card(
        "R35",
        "error",
        "A seat row that this class does not have",
        "correct the row, the class, or the cabin in the study file",
    ),
    _card(
        "R36",
        "warning",
        "The same time out for every survivor",
        "ask where the times come from; a copied time is none",
    ),
    _card(
        "R37",
        "warning",
        "Times that stand at round numbers",
        "write a time that is not exact as a span, from and to, as wide as it is unsure",
    ),
    _card(
        "R38",
        "warning",
        "Training looked up for survivors alone",
        "look up training for everyone aboard, from the roster",
    ),
    _card(
        "R39",
        "statement",
        "Unknown training among dead and survivors",
        "a small gap helps only where little is unknown; the unknown can undo either result",
    ),
    _card(
        "R40",
        "warning",
        "All the dead have the same training",
        "have training coded again by someone who does not know who lived",
    ),
    _card(
        "R41",
        "warning",
        "Training told by different people for dead and living",
        "take both from certificates or rosters",
    ),
    _card(
        "R42",
        "warning",
        "One mishap from two sources",
        "this row is left out with its people; if these are two mishaps, accept R42 under [[records.accepted]] of "
        "the study file, with the reason",
    ),
    _card("R43", "error", "Dead of a minor injury or of none", "correct the injury class or the outcome"),
    _card("R44", "statement", "Unknown and not collected in one field", "tell the two apart in every row"),
    _card(
        "R45",
        "statement",
        "Mishaps with one person",
        "they say nothing about people of the same mishap",
    ),
    _card(
        "R46",
        "warning",
        "Perhaps one mishap under two ids",
        "nothing is left out for it; if it is one mishap, write the same day, class and number aboard in both rows",
    ),
    _card("T1", "error", "The same trainer run twice", "delete the second row, or number the runs"),
    _card("T2", "error", "A time out of the trainer that cannot be", "correct the time or its unit"),
    _card("T3", "warning", "Out of the trainer, but without a time", "enter the time, or unknown"),
    _card(
        "T4",
        "error",
        "A breathing set used that the course did not teach",
        "correct one of the two fields",
    ),
    _card("T5", "error", "First course and time since the last disagree", "correct the course or the months"),
    _card("T6", "error", "A trainer run in the future", "correct the date"),
)

RULEBOOK: Mapping[str, RuleCard] = MappingProxyType({card.id: card for card in _CARDS})
