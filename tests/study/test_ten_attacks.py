"""Ten ways to get a better word out of the same records: what does the program do about each?

The records are those of invented mishaps in which training does nothing, unless it is said otherwise. They are written
to files, spoiled there, and brought in as any study is: sealed, read, checked, judged. Most attacks are refused,
undone, counted or marked down. What leaves no trace in the records gets through now and then, and the tests say so.

Words earned by twenty studies of sixty mishaps each in which training does nothing (seeds announced below; the slow
test counts again): honest records 0; unknown dead written down as untrained 1 where the entry says that it was
inferred, 9 on a forged roster (14 in an earlier set from another seed, so 23 of 40); hidden fitness 4, of them none
'supports'; trained survivors added with forged papers 2; the worst fifth of mishaps kept out 2; every mishap told
twice some days apart 0. The two that hurt most are wrong documents of the dead and fitness that nobody recorded.
"""

from __future__ import annotations

import datetime
import itertools
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from thin import write_tables

from survstats.effects.risk_model import refit
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import RecordsError, StudyFileError, SurvstatsError
from survstats.groundwork.resampling import stream
from survstats.records.finding import Finding
from survstats.rehearsal.conditions import STUDY_FILE
from survstats.rehearsal.scenarios import FITNESS, Scenario
from survstats.rehearsal.worlds import simulate_records
from survstats.study import agreed, estimating
from survstats.study.everybody import everybody
from survstats.study.judge import judge
from survstats.study.lock import lock
from survstats.study.plan import read_study
from survstats.study.results_builder import ResultsBuilder
from survstats.study.run import refuse_errors
from survstats.study.run_log import LOG_FILE
from survstats.study.steps import find, read_records

TODAY = datetime.date(2026, 11, 24)
SEED = 20261128  # announced before any of these studies was looked at
NOTHING = Scenario("null")
UNKNOWN = Scenario("null_unknown", unknown_survivors=0.04, unknown_dead=0.28)
FIT = Scenario("null_fitness", fitness=FITNESS)
NEVER = {
    "training_ever": "no",
    "training_type": "none",
    "training_last_date": "na",
    "training_date_precision": "na",
}


@dataclass(frozen=True)
class Brought:
    """A study carried out as far as its word."""

    out: ResultsBuilder
    findings: tuple[Finding, ...]

    @property
    def word(self):
        return self.out.codes["verdict.word"]

    @property
    def rd(self):
        return self.out.numbers["effect.rd"]

    @property
    def warned(self):
        return {finding.rule for finding in self.findings if finding.severity == "warning"}

    def gate(self, name):
        return next(row[1:3] for row in self.out.tables["gates"].rows if row[0] == name)


def honest(scenario, mishaps, place=0):
    """The mishap and occupant tables as texts, before anyone touched them."""
    records = simulate_records(scenario, mishaps, stream(SEED, f"{scenario.name}/{place}"))
    return records.raw["mishap"].copy(), records.raw["occupant"].copy()


def write_study(folder, tables, seed=1):
    folder.mkdir()
    write_tables(folder, tables)
    (folder / "study.toml").write_text(STUDY_FILE.format(seed=seed), encoding="utf-8")
    return folder


def opened(folder):
    """Sealed and read, and the plan entered in the log."""
    study = read_study(folder)
    records = read_records(study, lock(study))
    out = ResultsBuilder()
    agreed.store_log(out, study, records, audience="board", keep=True)
    return study, records, out


def bring(folder):
    study, records, out = opened(folder)
    findings = find(records, study=study, today=TODAY)
    refuse_errors(findings)
    agreed.store_findings(out, findings, study.accepted)
    judge(out, study, everybody(study, records), banners=out.lists["records.banners"], whole=False)
    return Brought(out, findings)


def difference_in(folder):
    """The main estimate alone."""
    study, records, _ = opened(folder)
    analysed = everybody(study, records).primary.analysed
    return standardise(refit(estimating.model_of(analysed, study.covariates))).difference


def change_plan(folder, pattern, line):
    path = folder / "study.toml"
    path.write_text(re.sub(rf"(?m)^{pattern}.*$", line, path.read_text(encoding="utf-8")), encoding="utf-8")


def lived(occupant):
    return occupant["outcome"] == "survived"


def written_untrained(tables, evidence):
    """The dead of unknown training become people who never had any."""
    mishap, occupant = tables
    gone = ~lived(occupant) & (occupant["training_ever"] == "unknown")
    for field, value in {**NEVER, "training_evidence": evidence}.items():
        occupant[field] = occupant[field].mask(gone, value)
    return mishap, occupant


def with_trained_survivors(tables, *, counted):
    """One trained passenger who lived is added to every second mishap, and to its number aboard if ``counted``."""
    mishap, occupant = tables
    added = []
    for at in mishap.index[::2]:
        row = mishap.loc[at]
        course = np.datetime64(row["event_date"]) - 100
        first = occupant[
            (occupant["mishap_id"] == row["mishap_id"]) & (occupant["role"] == "passenger")
        ].iloc[0]
        added.append(
            first.to_dict()
            | {
                "occupant_id": "x1",
                "training_ever": "yes",
                "training_type": "underwater_escape",
                "training_last_date": str(course),
                "training_date_precision": "day",
                "training_evidence": "certificate",
                "alive_at_immersion": "yes",
                "outcome": "survived",
                "days_to_death": "",
                "cause_of_death": "na",
            }
        )
        if counted:
            for field in ("n_pax", "n_aboard"):
                mishap.loc[at, field] = str(int(row[field]) + 1)
    return mishap, pd.concat([occupant, pd.DataFrame(added)], ignore_index=True)


def told_twice(tables, *, days):
    """Every mishap once more under another id, so many days later."""
    copies = [table.assign(mishap_id="D" + table["mishap_id"].astype(str)) for table in tables]
    dates = copies[0]["event_date"].to_numpy("datetime64[D]") + days
    copies[0]["event_date"] = dates.astype(str)
    return tuple(pd.concat(pair, ignore_index=True) for pair in zip(tables, copies, strict=True))


def without_the_worst(tables, share=0.2):
    """The mishaps in which the trained fared worst against the untrained are left out."""
    mishap, occupant = tables
    seen = occupant[(occupant["alive_at_immersion"] == "yes") & (occupant["training_ever"] != "unknown")]
    alive = seen.assign(lived=lived(seen)).pivot_table("lived", "mishap_id", "training_ever", "mean")
    gain = (alive["yes"] - alive["no"]).dropna().sort_values()
    worst = gain.index[: int(share * len(mishap))]
    return tuple(table[~table["mishap_id"].isin(worst)] for table in tables)


def test_1_trained_survivors_are_added_to_the_people_aboard(tmp_path):
    """Somebody remembers a few more trained people who lived. The number aboard does not: the records are refused.

    Whoever raises that number too, and has a certificate for each, has forged documents (the second attack).
    """
    folder = write_study(tmp_path / "study", with_trained_survivors(honest(NOTHING, 20), counted=False))
    with pytest.raises(RecordsError, match="aboard"):
        bring(folder)


def test_2_the_unknown_dead_are_read_as_untrained(tmp_path):
    """The paper that cannot be found is taken for training that never was. Ten points come out of nothing.

    As long as the entry says that it was inferred, a gate catches it: read as unknown again, these people take the
    difference back. A forged roster is believed, and nothing in the records shows it.
    """
    before = difference_in(write_study(tmp_path / "before", honest(UNKNOWN, 60)))
    after = bring(write_study(tmp_path / "after", written_untrained(honest(UNKNOWN, 60), "inferred")))
    assert after.rd.value > before.value + 0.05
    assert after.gate("miscoding")[0] == "not_met"
    assert after.word == "cannot_tell"
    forged = bring(write_study(tmp_path / "forged", written_untrained(honest(UNKNOWN, 60), "roster")))
    assert forged.rd.value == pytest.approx(after.rd.value)
    assert forged.gate("seen")[0] == forged.gate("miscoding")[0] == "met"
    assert forged.warned == set()


def test_3_what_is_held_equal_is_tried_until_the_difference_is_largest(tmp_path):
    """Every plan that was tried is counted, and the one that is kept carries its number on page 1."""
    folder = write_study(tmp_path / "study", honest(NOTHING, 30))
    study, records, _ = opened(folder)
    analysed = everybody(study, records).primary.analysed
    tried = {}
    for left_out in itertools.chain([()], itertools.combinations(study.covariates, 1)):
        kept = tuple(name for name in study.covariates if name not in left_out)
        change_plan(folder, "covariates", f"covariates = {list(kept)}".replace("'", '"'))
        opened(folder)
        tried[kept] = standardise(refit(estimating.model_of(analysed, kept))).difference
    best = max(tried, key=lambda kept: tried[kept].low)
    change_plan(folder, "covariates", f"covariates = {list(best)}".replace("'", '"'))
    shopped = bring(folder)
    assert shopped.rd.low == pytest.approx(max(one.low for one in tried.values()))
    assert shopped.out.numbers["log.plans_here"].value == len(tried) == 7
    assert shopped.word == "cannot_tell"


def test_4_every_mishap_is_told_twice(tmp_path):
    """The same mishaps under another id would shrink the interval by a third. Of each pair one is left out.

    With the date moved by a day nothing is left out, since two mishaps may be alike; every pair is named in a warning.
    """
    once = difference_in(write_study(tmp_path / "once", honest(NOTHING, 30)))
    twice = bring(write_study(tmp_path / "twice", told_twice(honest(NOTHING, 30), days=0)))
    assert "R42" in twice.warned
    assert (twice.rd.value, twice.rd.low, twice.rd.mishaps) == pytest.approx(
        (once.value, once.low, once.mishaps)
    )
    moved = bring(write_study(tmp_path / "moved", told_twice(honest(NOTHING, 30), days=1)))
    assert sum(finding.rule == "R46" for finding in moved.findings) == 30
    assert moved.rd.high - moved.rd.low < 0.8 * (once.high - once.low)
    assert moved.word == "cannot_tell"


@pytest.mark.parametrize("field", ["egress_lo_s", "exit_used", "ebs_used", "brace_adopted", "immersion_type"])
def test_5_what_training_does_is_held_equal(tmp_path, field):
    """Adjusting for the way out hides what training did there, or makes something up: the study file is refused."""
    folder = write_study(tmp_path / "study", honest(NOTHING, 8))
    change_plan(folder, "covariates", f'covariates = ["role", "{field}"]')
    with pytest.raises(StudyFileError, match="cannot be adjusted for") as refused:
        read_study(folder)
    assert refused.value.line


def test_6_the_trained_are_fitter(tmp_path):
    """Fitness that nobody records makes ten points. The word stays below 'supports', and the strength is printed."""
    found = bring(write_study(tmp_path / "study", honest(FIT, 120)))
    assert found.out.codes["verdict.chance"] == "more_than_chance"
    assert found.word != "supports"
    assert found.gate("other_explanations")[0] != "met"
    assert found.out.numbers["fitness.strength_limit"].value < FITNESS


def test_7_one_mishap_makes_it(tmp_path):
    """A single large mishap in which the trained lived and the untrained died carries the whole difference."""
    mishap, occupant = honest(NOTHING, 30)
    place = occupant.groupby("mishap_id").size().idxmax()
    here = occupant["mishap_id"] == place
    more = pd.concat(
        [occupant[here].assign(occupant_id=occupant["occupant_id"][here] + mark) for mark in "abc"]
    )
    trained = more["training_ever"] == "yes"
    assert 10 <= trained.sum() <= len(more) - 10
    more["alive_at_immersion"] = "yes"
    more["outcome"] = np.where(trained, "survived", "died")
    more["days_to_death"] = np.where(trained, "", "0")
    more["cause_of_death"] = np.where(trained, "na", "drowning_inside")
    crew = int((more["role"] == "flight_crew").sum())
    counts = {"n_crew": str(crew), "n_pax": str(len(more) - crew), "n_aboard": str(len(more))}
    for field, value in counts.items():
        mishap.loc[mishap["mishap_id"] == place, field] = value
    tables = mishap, pd.concat([occupant[~here], more], ignore_index=True)
    found = bring(write_study(tmp_path / "study", tables))
    assert found.rd.value > 0.1
    assert found.gate("beyond_chance")[0] != "met"
    assert found.word == "cannot_tell"


def test_8_training_is_coded_from_who_lived(tmp_path):
    """All the dead become untrained. By lot that is too rare: a warning on every page, and one gate is not met.

    All the dead on a forged roster (the second attack) can look like a large effect: the warning alone remains.
    """
    mishap, occupant = honest(NOTHING, 30)
    for field, value in {**NEVER, "training_evidence": "inferred"}.items():
        occupant[field] = occupant[field].mask(~lived(occupant), value)
    found = bring(write_study(tmp_path / "study", (mishap, occupant)))
    assert found.rd.value > 0.3
    assert found.out.lists["records.banners"] == ["R40"]
    assert found.gate("miscoding") == ("not_met", "by_fate")
    assert found.word == "cannot_tell"


def test_9_the_seed_or_the_bar_is_chosen_afterwards(tmp_path):
    """Another seed and a lower bar for fitness are other plans: another seal, and the log counts them.

    A plan that is changed while its study is open is refused.
    """
    folder = write_study(tmp_path / "study", honest(NOTHING, 12))
    first = read_study(folder)
    seals = {lock(first).seal}
    opened(folder)
    change_plan(folder, "seed", "seed = 2")
    with pytest.raises(StudyFileError, match="changed after it was read"):
        lock(first)
    seals.add(lock(read_study(folder)).seal)
    opened(folder)
    with (folder / "study.toml").open("a", encoding="utf-8") as file:
        file.write("\n[challenge]\nfitness_floor = 0.5\n")
    lowered = read_study(folder)
    seals.add(lock(lowered).seal)
    _, _, out = opened(folder)
    assert len(seals) == 3
    assert out.numbers["log.plans_here"].value == 3
    with pytest.raises(SurvstatsError, match="another plan"):
        read_records(lowered, lock_of(first, folder))


def test_a_log_that_is_deleted_leaves_no_trace(tmp_path):
    """An eleventh attack gets through: the log knows of nothing that was tried before it began, or in a copy."""
    folder = write_study(tmp_path / "study", honest(NOTHING, 12))
    opened(folder)
    change_plan(folder, "seed", "seed = 2")
    _, _, out = opened(folder)
    assert out.numbers["log.plans_here"].value == 2
    (folder / LOG_FILE).unlink()
    _, _, out = opened(folder)
    assert out.numbers["log.plans_here"].value == 1


def lock_of(study, folder):
    """A seal made for an earlier state of the study file."""
    now = (folder / "study.toml").read_bytes()
    try:
        (folder / "study.toml").write_text(STUDY_FILE.format(seed=1), encoding="utf-8")
        return lock(study)
    finally:
        (folder / "study.toml").write_bytes(now)


def test_10_mishaps_are_kept_out_of_the_records_for_what_happened_in_them(tmp_path):
    """One mishap in five, those in which the trained fared worst, never reaches the records. Nothing in them shows it.

    Harmless mishaps that were not reported are reckoned with (`survstats.challenge.under_reporting`); a choice by
    training and fate at once is not. The record that is asked for is a list of all mishaps, made before outcomes.
    """
    before = difference_in(write_study(tmp_path / "before", honest(NOTHING, 60)))
    after = bring(write_study(tmp_path / "after", without_the_worst(honest(NOTHING, 60))))
    assert after.rd.value > before.value + 0.05
    assert after.gate("seen")[0] == after.gate("miscoding")[0] == "met"
    assert after.warned == set()


#: Attacks on twenty studies of sixty mishaps each, with how many of them may earn a word, at least and at most.
MEASURED = {
    "honest": (NOTHING, lambda tables: tables, 0, 2),
    "unknown dead inferred untrained": (UNKNOWN, lambda tables: written_untrained(tables, "inferred"), 0, 4),
    "unknown dead on a forged roster": (UNKNOWN, lambda tables: written_untrained(tables, "roster"), 5, 16),
    "hidden fitness": (FIT, lambda tables: tables, 2, 10),
    "survivors with forged papers": (
        NOTHING,
        lambda tables: with_trained_survivors(tables, counted=True),
        0,
        6,
    ),
    "worst mishaps kept out": (NOTHING, without_the_worst, 0, 6),
    "told twice, days apart": (NOTHING, lambda tables: told_twice(tables, days=9), 0, 3),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", MEASURED)
def test_how_often_an_attack_earns_a_word(tmp_path, name):
    scenario, spoil, least, most = MEASURED[name]
    found = [
        bring(write_study(tmp_path / f"study{place}", spoil(honest(scenario, 60, place)))).word
        for place in range(20)
    ]
    assert least <= sum(word != "cannot_tell" for word in found) <= most, found
    assert found.count("supports") <= 3
