"""Somebody who holds all files of a sharing run and tries to work out what was withheld.

The groups behind the counts are made here anew from the derived frame, not taken from the run, and so are the
equations.
"""

from __future__ import annotations

import re

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from survstats.describe.missing import complete, known_of, lacking
from survstats.describe.times import times_written
from survstats.records.deriving import derive
from survstats.study.results import MASKED
from survstats.study.steps import read_records

STATUSES = {
    "trained": "current",
    "untrained": "none",
    "unknown": "unknown",
    "lapsed": "lapsed",
    "briefing": "briefing_or_dry_only",
}
#: Counts that are not of the people aboard: mishaps, gates, columns, plans, trainer runs, and a repeated count.
NOT_PEOPLE = re.compile(
    r".*mishaps$|within\.|gate\.\w+\.number$|gate\.enough\.smallest$|verdict\.|threshold\.|effect\.columns$|(log|agreement)\."
    r"|(choices|change|under_reporting)\.|challenge\.\w+\.number$|records\.(not_blind|blind_unknown|runs)$|runs\.|agreement\.|graph\.|sharing\.limit$"
)
NO_COUNTS = (
    *("gates", "challenges", "findings", "findings_by_rule", "accepted", "one_mishap_out"),
    *("estimators", "graph_nodes", "graph_edges", "open_paths"),
)


def groups(study, fields):
    """The people of every count of people that a run may publish, by its id; ``fields`` are those of the gaps."""
    records = read_records(study)
    frame = derive(records, currency_months=study.plan.question.currency_months, population=study.population)
    rows = frame["file_row"].to_numpy()
    status, lived = frame["trained_status"].astype(str), frame["survived"].eq(1)
    survivable = frame["impact_survivability"].isin(["survivable", "partially_survivable"])
    none, alive = frame["impact_survivability"].eq("none"), frame["alive_at_immersion"].astype(str)
    p1, p2, twice = frame["in_p1"], frame["in_p2"], frame["second_source"]
    fate_open = survivable & ~alive.isin(["yes", "no"]) & ~lived & p2
    compared = status.isin(["current", "none"])

    def who(mask):
        return frozenset(rows[np.asarray(mask, bool)].tolist())

    found = {"records.occupants": who(p1 | True), "records.second_source_people": who(twice)}
    lines = {
        "p1": {
            "impact_not_survivable": p2 & none,
            "survivability_unknown": p2 & ~none & ~survivable,
            "dead_on_impact": p2 & survivable & alive.eq("no"),
            "alive_at_immersion_unknown": fate_open,
        },
        "p2": {},
    }
    for prefix, key, inside in (("cohort", "p1", p1), ("all_aboard", "p2", p2)):
        ledger = {"aboard": p1 | True, "no_row": p1 & False, "second_source": twice, **lines[key]}
        ledger |= {"in_population": inside, "analysed": inside & compared}
        ledger |= {
            line: inside & status.eq(code)
            for line, code in (
                ("lapsed", "lapsed"),
                ("briefing_or_dry_only", "briefing_or_dry_only"),
                ("status_unknown", "unknown"),
            )
        }
        found |= {f"{prefix}.ledger.{line}": who(mask) for line, mask in ledger.items()}
        for line, mask in ledger.items():
            found[f"ledger_{key}/{line}/occupants"] = who(mask)
            found[f"ledger_{key}/{line}/survived"] = who(mask & lived)
            found[f"ledger_{key}/{line}/died"] = who(mask & ~lived)
        found[f"{prefix}.population"] = who(inside)
        found[f"{prefix}.aboard"] = who(~twice)
        found[f"{prefix}.analysed"] = who(inside & compared)
        found[f"{prefix}.survived"] = who(inside & compared & lived)
        found[f"{prefix}.died"] = who(inside & compared & ~lived)
    kinds = {name: status.eq(code) for name, code in STATUSES.items()} | {"documented": frame["documented"]}
    for name, mask in kinds.items():
        found[f"seen.{name}"] = who(p1 & mask)
        for fate, there in (("survived", lived), ("died", ~lived)):
            found[f"seen.{name}_{fate}"] = found[f"seen/{name}/{fate}"] = who(p1 & mask & there)
    found |= {"seen.survived": who(p1 & lived), "seen.died": who(p1 & ~lived)}
    found["seen.neither"] = who(p1 & status.isin(["lapsed", "briefing_or_dry_only"]))
    found["seen.order_unclear"] = who(p1 & frame["order_ambiguous"])
    found["gaps.no_row"] = who(p1 & False)
    found["seen.recency_unclear"] = who(p1 & frame["recency_ambiguous"] & status.ne("unknown"))
    perhaps = fate_open & status.isin(["current", "none", "unknown"])
    found["unknown.perhaps"] = who(perhaps)
    found["unknown.people"] = who(perhaps | (p1 & status.eq("unknown")))
    found["claim.survivors"] = who(p1 & compared & lived)
    found["claim.dead_known"] = who(p1 & compared & ~lived)
    found["claim.dead"] = who(p1 & (compared | status.eq("unknown")) & ~lived)
    known = known_of(records, frame, study.covariates)
    answered, whole = known.known & known.applies, complete(known, frame, study.covariates)
    asked = [field for field in fields if answered.loc[p2, field].any()]
    lacks = lacking(known, asked)
    found["gaps.no_row"] = who(p1 & False)
    for fate, there in (("survived", p2 & lived), ("died", p2 & ~lived)):
        found[f"gaps.{fate}"] = who(there)
        found[f"gaps.complete_{fate}"] = who(there & whole)
        found |= {f"gaps.{field}.known_{fate}": who(there & answered[field]) for field in fields}
        found |= {f"gaps.{field}.of_{fate}": who(there & known.applies[field]) for field in fields}
        found |= {f"missing_together/{one}/{fate}": who(there & (lacks == one)) for one in set(lacks)}
    written = times_written(frame)
    found |= {f"times.{name}": who(p2 & written[name]) for name in written.columns}
    return found


def told(results):
    """Every count of people in the results, by its id; None where it is withheld."""
    counts = {
        name: None if number.method == MASKED else round(number.value)
        for name, number in results.numbers.items()
        if number.unit == "count" and not NOT_PEOPLE.match(name)
    }
    for name, table in results.tables.items():
        if name in NO_COUNTS:
            continue
        for row in table.rows:
            for column, cell in zip(table.columns[1:], row[1:], strict=True):
                if column != "mishaps" and cell is not None:
                    counts[f"{name}/{row[0]}/{column}"] = None if cell == MASKED else cell
    return counts


class Attack:
    """The equations of the published counts over the people who stand in exactly the same groups."""

    def __init__(self, people, counts):
        self.people, self.counts = people, counts
        names = list(counts)
        everyone = sorted(set().union(*(people[name] for name in names)))
        there = np.array([[person in people[name] for name in names] for person in everyone])
        atoms = np.unique(there, axis=0).T.astype(float)
        self.rows = dict(zip(names, atoms, strict=True))
        equations = {(*self.rows[name], count) for name, count in counts.items() if count is not None}
        self.matrix, self.values = np.split(np.array(sorted(equations)), [-1], axis=1)
        self.values = self.values[:, 0]

    def bounds(self, name):
        """Least and most of a withheld count that the published ones allow, in whole numbers."""
        ends = []
        for sign in (1, -1):
            row = sign * self.rows[name]
            relaxed = linprog(row, A_eq=self.matrix, b_eq=self.values)
            if relaxed.status == 3:
                ends.append(sign * -np.inf)
                continue
            whole = milp(
                row,
                constraints=LinearConstraint(self.matrix, self.values, self.values),
                bounds=Bounds(0, np.inf),
                integrality=np.ones(len(row)),
                options={"time_limit": 20},
            )
            ends.append(sign * round(whole.fun))
        return tuple(ends)

    def given_away(self, limit):
        """The withheld small counts that can be shown to be small, or to have fewer than ``limit`` values."""
        lost = {}
        for name, value in self.counts.items():
            if value is None and 0 < len(self.people[name]) < limit:
                low, high = self.bounds(name)
                assert low <= len(self.people[name]) <= high
                if high < limit or high - low + 1 < limit:
                    lost[name] = (low, high)
        return lost
