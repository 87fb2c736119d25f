"""Do the fields of one trainer run agree with each other?"""

from __future__ import annotations

import pandas as pd

from survstats.records.codebook import NOT_APPLICABLE, NOT_COLLECTED
from survstats.records.rules.rule import Evidence, Hit, Rule


def _unique_runs(evidence: Evidence) -> list[Hit]:
    repeated = evidence.training_run.duplicated(["person_code", "run_date", "run_no"])
    return evidence.where(
        "training_run", repeated, "run_no", "person_code", "run_date", expected="each run once"
    )


def _time_of_the_passed(evidence: Evidence) -> list[Hit]:
    out = evidence.training_run["result"].isin(["passed", "assisted"])
    none = evidence.says("training_run", "time_out_s", NOT_COLLECTED, NOT_APPLICABLE)
    return evidence.where("training_run", out & none, "time_out_s", "result", expected="a time, or unknown")


def _set_taught(evidence: Evidence) -> list[Hit]:
    run = evidence.training_run
    used, taught = run["breathing_set_used"] == "yes", run["breathing_set_taught"]
    fields = "breathing_set_taught", "breathing_set_used"
    expected = "yes where a set was used"
    return [
        *evidence.where("training_run", used & (taught == "no"), *fields, expected=expected),
        *evidence.where(
            "training_run", used & ~taught.isin(["yes", "no"]), *fields, expected=expected, severity="warning"
        ),
    ]


def _months_of_the_course(evidence: Evidence) -> list[Hit]:
    run = evidence.training_run
    first = (run["course"] == "initial") & run["months_since_last"].notna()
    none = evidence.says("training_run", "months_since_last", NOT_COLLECTED, NOT_APPLICABLE)
    fields = "months_since_last", "course"
    return [
        *evidence.where("training_run", first, *fields, expected="na on an initial course"),
        *evidence.where(
            "training_run",
            (run["course"] == "refresher") & none,
            *fields,
            expected="the months since the last course, or unknown",
            severity="warning",
        ),
    ]


def _future(evidence: Evidence) -> list[Hit]:
    late = evidence.training_run["run_date"] > pd.Timestamp(evidence.today)
    return evidence.where("training_run", late, "run_date", expected="a day that has been")


TRAINER_RULES = (
    Rule("T1", _unique_runs),
    Rule("T3", _time_of_the_passed),
    Rule("T4", _set_taught),
    Rule("T5", _months_of_the_course),
    Rule("T6", _future),
)
