"""Can no outcome be read before the plan is sealed, and does the manifest show the order?"""

from __future__ import annotations

import ast
import datetime
import itertools
import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from thin import thin_study

import survstats
from survstats.challenge import choice_list, verdict
from survstats.groundwork.errors import StudyFileError, SurvstatsError
from survstats.groundwork.provenance import STEPS, seal, unbroken
from survstats.report.papers import manifest
from survstats.study import lock as locking
from survstats.study.agreed import store_judged
from survstats.study.plan import read_study
from survstats.study.results_builder import ResultsBuilder
from survstats.study.run import run
from survstats.study.steps import read_records

PACKAGE = Path(survstats.__file__).parent
NOW = datetime.datetime(2026, 11, 24, 12, 0, tzinfo=datetime.UTC)


@pytest.fixture(scope="module")
def opened():
    """The paths that are opened while the list is listening (a hook cannot be taken away again)."""
    heard = []
    listening = [False]

    def hear(event, arguments):
        if event == "open" and listening[0] and isinstance(arguments[0], str | bytes | Path):
            heard.append(Path(str(arguments[0])).name)

    sys.addaudithook(hear)
    return heard, listening


# ---- before reading -------------------------------------------------------------------------------------------------


def resealed(own, thresholds):
    """A lock made by hand, whole in itself, with the hash of thresholds that are not in force."""
    made = replace(own, thresholds_hash=thresholds)
    return replace(made, seal=seal("", "locked", made.facts))


def refused(study, given):
    with pytest.raises(SurvstatsError) as fault:
        read_records(study, given)
    return fault.value.reason


def test_no_record_file_is_opened_without_the_lock_of_this_study(study_folder, opened):
    study = read_study(study_folder)
    own = locking.lock(study)
    (study_folder / "study.toml").write_text((study_folder / "study.toml").read_text() + "\n# another word\n")
    other = locking.lock(read_study(study_folder))
    heard, listening = opened
    heard.clear()
    listening[0] = True
    try:
        reasons = [
            refused(study, given)
            for given in (other, "sealed", replace(own, thresholds_hash="0" * 64), resealed(own, "0" * 64))
        ]
    finally:
        listening[0] = False
    assert reasons == ["lock_of_another_plan", "not_locked", "not_locked", "not_locked"]
    assert not {"mishap.csv", "occupant.csv"} & set(heard)


@pytest.mark.parametrize("given", [True, False])
def test_thresholds_choices_and_study_file_are_hashed_before_any_record_is_opened(
    study_folder, opened, given
):
    study = read_study(study_folder)
    heard, listening = opened
    heard.clear()
    listening[0] = True
    try:
        read_records(study, locking.lock(study)) if given else survstats.read_records(study)
    finally:
        listening[0] = False
    first_record = min(heard.index(name) for name in ("mishap.csv", "occupant.csv"))
    for name in ("study.toml", "verdict.toml", "choices.toml"):
        assert heard.index(name) < first_record, heard


def test_a_plan_changed_in_python_needs_a_lock_of_its_own(study_folder):
    study = read_study(study_folder)
    floor = study.plan.challenge.model_copy(update={"fitness_floor": 0.1})
    softer = replace(study, plan=study.plan.model_copy(update={"challenge": floor}))
    assert refused(softer, locking.lock(study)) == "lock_of_another_plan"
    assert locking.lock(softer).seal != locking.lock(study).seal


READERS = ("survstats.records.loading", "survstats.records.mapping", "survstats.records.reading")


def imported(source):
    """What a module imports of the modules that open tables, by its whole name; the type `Records` reads nothing."""
    names = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom):
            names |= {f"{node.module}.{name.name}" for name in node.names}
        if isinstance(node, ast.Import):
            names |= {name.name for name in node.names}
    return {name for name in names if name.startswith(READERS) and not name.endswith(".loading.Records")}


@pytest.mark.parametrize(
    "line",
    [
        "from survstats.records import loading",
        "from survstats.records import Records, loading as other",
        "from survstats.records.loading import read_records",
        "from survstats.records.loading import Records, typed_records",
        "import survstats.records.reading.tables",
        "def f():\n    import survstats.records.loading as x",
    ],
)
def test_every_form_of_import_is_seen(line):
    assert len(imported(line)) == 1


def test_record_files_are_read_nowhere_else_above_the_floor_of_records():
    """Modules of records that open tables may be imported by `steps` alone; a mapping is proposed before any study, and
    a rehearsal types the texts that it has drawn itself.
    """
    allowed = {
        ("cli/commands.py", "survstats.records.mapping.proposal.names_columns"),
        ("cli/commands.py", "survstats.records.mapping.proposal.propose_mapping"),
        ("rehearsal/worlds.py", "survstats.records.loading.typed_records"),
        ("rehearsal/worlds.py", "survstats.records.reading.tables.TextTable"),
    }
    found = set()
    for floor in ("study", "report", "rehearsal", "cli", "challenge", "effects", "describe", "models"):
        for path in (PACKAGE / floor).rglob("*.py"):
            where = path.relative_to(PACKAGE).as_posix()
            found |= {(where, name) for name in imported(path.read_text(encoding="utf-8"))}
    steps = {name for where, name in found if where == "study/steps.py"}
    assert {one for one in found if one[0] != "study/steps.py"} == allowed
    assert {"survstats.records.loading", "survstats.records.reading.study_folder.find_tables"} <= steps


# ---- the seal -------------------------------------------------------------------------------------------------------


def as_in_a_new_process():
    verdict.thresholds_bytes.cache_clear()
    choice_list.choices_bytes.cache_clear()


@pytest.fixture
def own_files(tmp_path, monkeypatch):
    """Copies of the thresholds and of the choices, to be changed."""
    copies = {}
    for module, name in ((verdict, "THRESHOLDS_FILE"), (choice_list, "CHOICES_FILE")):
        path = getattr(module, name)
        copy = tmp_path / path.name
        copy.write_bytes(path.read_bytes())
        monkeypatch.setattr(module, name, copy)
        monkeypatch.setattr(locking, name, copy)
        copies[path.name] = copy
    as_in_a_new_process()
    yield copies
    monkeypatch.undo()
    as_in_a_new_process()


def append(path):
    path.write_bytes(path.read_bytes() + b"\n# a word more\n")


@pytest.mark.parametrize("name", ["study.toml", "verdict.toml", "choices.toml"])
def test_a_change_of_any_of_the_three_files_changes_the_seal(study_folder, own_files, name):
    before = locking.lock(read_study(study_folder))
    append(own_files.get(name, study_folder / name))
    as_in_a_new_process()
    after = locking.lock(read_study(study_folder))
    assert before.seal != after.seal
    changed = [fact for fact in before.facts if before.facts[fact] != after.facts[fact]]
    assert changed == [
        {"study.toml": "study_file", "verdict.toml": "thresholds", "choices.toml": "choices"}[name]
    ]


@pytest.mark.parametrize("name", ["study.toml", "verdict.toml", "choices.toml"])
def test_a_file_changed_while_the_study_runs_is_refused(study_folder, own_files, name):
    study = read_study(study_folder)
    locked = locking.lock(study)
    locked.refuse_changed(study)
    append(own_files.get(name, study_folder / name))
    with pytest.raises(StudyFileError, match=name) as fault:
        locked.refuse_changed(study)
    assert fault.value.reason == "changed_during_run"
    assert fault.value.remedy


@pytest.mark.parametrize("name", ["study.toml", "verdict.toml", "choices.toml"])
def test_what_is_sealed_is_what_was_read(study_folder, own_files, name):
    study = read_study(study_folder)
    locking.lock(study)
    append(own_files.get(name, study_folder / name))
    with pytest.raises(StudyFileError) as fault:
        locking.lock(study)
    assert fault.value.reason == "changed_since_read"


@pytest.mark.parametrize("name", ["study.toml", "mapping.toml"])
def test_a_file_taken_away_while_the_study_runs_is_refused(study_folder, name):
    (study_folder / "mapping.toml").write_text('checked_by = "A"\n')
    study = read_study(study_folder)
    locked = locking.lock(study)
    (study_folder / name).unlink()
    with pytest.raises(StudyFileError, match=f"{name} was taken away") as fault:
        locked.refuse_changed(study)
    assert fault.value.reason == "changed_during_run"


def test_a_mapping_changed_or_added_while_the_study_runs_is_refused(study_folder):
    mapping = study_folder / "mapping.toml"
    without = read_study(study_folder)
    locked = locking.lock(without)
    mapping.write_text('checked_by = "A"\n')
    with pytest.raises(StudyFileError, match=r"mapping\.toml was added"):
        locked.refuse_changed(without)
    study = read_study(study_folder)
    locked = locking.lock(study)
    locked.refuse_changed(study)
    append(mapping)
    with pytest.raises(StudyFileError, match=r"mapping\.toml was changed while"):
        locked.refuse_changed(study)
    with pytest.raises(StudyFileError, match=r"mapping\.toml was changed after"):
        locking.lock(study)


def test_a_plan_made_in_python_has_no_file_to_be_taken_away(study_folder, tmp_path):
    study = replace(read_study(study_folder), folder=tmp_path / "nowhere")
    locking.lock(study).refuse_changed(study)


def test_a_run_whose_study_file_is_changed_meanwhile_gives_no_results(few_mishaps_folder):
    def meddle(step):
        if step == "judging":
            append(few_mishaps_folder / "study.toml")

    with pytest.raises(StudyFileError) as fault:
        run(read_study(few_mishaps_folder), progress=meddle, keep_log=False)
    assert fault.value.reason == "changed_during_run"


# ---- the order ------------------------------------------------------------------------------------------------------


def order_of(results):
    return json.loads(manifest(results, now=NOW))["order"]


@pytest.fixture
def order(study_folder):
    """The steps as a study seals them, one after the other."""
    locked = locking.lock(read_study(study_folder))
    steps = [{"step": "locked", **locked.facts, "seal": locked.seal}]
    for step, facts in (("outcomes_read", {"records": "1" * 64}), ("judged", {"verdict": "2" * 64})):
        steps.append({"step": step, **facts, "seal": seal(steps[-1]["seal"], step, facts)})
    return steps


@pytest.fixture(scope="module")
def two_results(tmp_path_factory):
    """Two studies of seven mishaps that differ in one word of the plan: carried out fast, since no model is made."""
    found = []
    for name in ("one", "other"):
        folder = thin_study("seven_mishaps", tmp_path_factory.mktemp(name) / "study")
        if name == "other":
            append(folder / "study.toml")
        found.append(run(read_study(folder), keep_log=False))
    return found


def test_the_manifest_lists_the_steps_in_order_each_sealed_upon_the_last(two_results):
    results, other = two_results
    order = order_of(results)
    assert [entry["step"] for entry in order] == ["locked", "outcomes_read", "judged"] == list(STEPS)
    assert order[0]["study_file"] == results.provenance["study_file"]
    assert order[0]["thresholds"] == results.provenance["verdict_thresholds"]
    assert order[0]["choices"] == results.provenance["choices"]
    assert order[1]["records"] == results.provenance["records"]
    assert unbroken(order)
    assert order[2]["verdict"] == other.provenance["verdict"]  # the same records, and the same word
    assert results.provenance["seal.judged"] != other.provenance["seal.judged"]


def test_no_other_order_and_no_altered_step_reproduces_the_seals(order):
    assert unbroken(order)
    for other in itertools.permutations(order):
        assert unbroken(other) == (list(other) == order)
    for at, entry in enumerate(order):
        for name in entry:
            altered = [dict(one) for one in order]
            altered[at][name] = "0" * 64
            assert not unbroken(altered), (at, name)
        assert not unbroken(order[:at] + order[at + 1 :])
    assert not unbroken([])
    assert not unbroken([*order, order[-1]])


def test_the_seal_of_reading_cannot_be_made_before_that_of_locking():
    facts = {"records": "a"}
    assert len({seal(before, "outcomes_read", facts) for before in ("", "b", "c")}) == 3


def test_the_word_cannot_be_changed_behind_the_seal_of_judging():
    def judged(word):
        out = ResultsBuilder(
            provenance={"seal.outcomes_read": "a"}, codes={"verdict.word": word, "study.place": "x"}
        )
        store_judged(out)
        return out.provenance["seal.judged"]

    assert judged("suggests") != judged("supports")
    assert judged("suggests") == judged("suggests")


def test_papers_without_seals_list_no_steps(two_results):
    """Papers for sharing: hashes of the plan and of the records do not leave the house (tests of sharing hold that)."""
    results = two_results[0]
    open_ones = {name: one for name, one in results.provenance.items() if not name.startswith("seal.")}
    assert order_of(replace(results, provenance=open_ones)) == []
