"""What was agreed, sealed before any outcome is read.

Three things decide what a study will say before a record is looked at: the study file, the thresholds of the gates and
the list of other choices. `lock` hashes them and seals the hashes. Record files of a study are read in one place only,
`survstats.study.steps.read_records`, and that place asks for the lock of this very study or makes it first: it refuses
one that is missing, made by hand, or of another plan. The seal of reading is made from the seal of locking and the
fingerprint of the records, that of judging from the seal of reading, so that no step can be sealed before the one it
stands on; the manifest lists them. After the last step the files are hashed again, the mapping with them, and a study
whose files were changed or taken away meanwhile is refused.

What no program can see is whether somebody opened the record files by other means before the plan was written. The run
log says how many plans were tried on them.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass

from survstats.challenge.choice_list import CHOICES_FILE, choices_hash
from survstats.challenge.verdict import THRESHOLDS_FILE, thresholds_bytes
from survstats.groundwork.errors import CallError, StudyFileError
from survstats.groundwork.provenance import bytes_hash, file_hash, seal
from survstats.study.plan import MAPPING_FILE, STUDY_FILE, Study


@dataclass(frozen=True)
class Lock:
    """What was agreed, sealed.

    Attributes
    ----------
    plan_hash, analysis_hash : str
        SHA-256 of the study file, and of what the numbers and the word depend on in it.
    thresholds_hash, choices_hash : str
        SHA-256 of the files of thresholds and of choices.
    seal : str
        Over all four.
    from_file : bool
        Whether the study file stood in the folder when the plan was sealed; a plan made in Python has none.
    """

    plan_hash: str
    analysis_hash: str
    thresholds_hash: str
    choices_hash: str
    seal: str
    from_file: bool = False

    @property
    def facts(self) -> dict[str, str]:
        """What is sealed, by the names it has in the manifest."""
        return {
            "study_file": self.plan_hash,
            "plan": self.analysis_hash,
            "thresholds": self.thresholds_hash,
            "choices": self.choices_hash,
        }

    def refuse_changed(self, study: Study) -> None:
        """Refuse a study whose plan, or whose files, are no longer those that were locked.

        Raises
        ------
        StudyFileError
            ``changed_during_run``.
        """
        _refuse_other(
            study, self.facts, "changed_during_run", "while the study was running", from_file=self.from_file
        )


def lock(study: Study) -> Lock:
    """Seal what was agreed.

    Raises
    ------
    StudyFileError
        ``changed_since_read`` if one of the files is no longer the one that was read.
    """
    facts = {
        "study_file": study.plan_hash,
        "plan": study.analysis_hash,
        "thresholds": bytes_hash(thresholds_bytes()),
        "choices": choices_hash(),
    }
    from_file = os.path.lexists(study.folder / STUDY_FILE)
    _refuse_other(study, facts, "changed_since_read", "after it was read", from_file=from_file)
    return Lock(
        plan_hash=facts["study_file"],
        analysis_hash=facts["plan"],
        thresholds_hash=facts["thresholds"],
        choices_hash=facts["choices"],
        seal=seal("", "locked", facts),
        from_file=from_file,
    )


def demand_lock(study: Study, locked: object) -> None:
    """Refuse to go on without the lock of this study.

    Raises
    ------
    CallError
        ``not_locked`` where there is none, or one that `lock` did not make; ``lock_of_another_plan``.
    """
    if not isinstance(locked, Lock) or locked.seal != seal("", "locked", locked.facts):
        raise CallError(
            "not_locked",
            "The records are not read before the plan is sealed.",
            "Seal it with survstats.study.lock.lock(study).",
        )
    if (locked.thresholds_hash, locked.choices_hash) != (bytes_hash(thresholds_bytes()), choices_hash()):
        raise CallError(
            "not_locked",
            "The seal names other thresholds, or other choices, than those in force.",
            "Seal the plan with survstats.study.lock.lock(study).",
        )
    if (locked.plan_hash, locked.analysis_hash) != (study.plan_hash, study.analysis_hash):
        raise CallError(
            "lock_of_another_plan",
            "The seal is that of another plan than the one of this study.",
            "Seal this one with survstats.study.lock.lock(study).",
        )


def _refuse_other(study: Study, facts: Mapping[str, str], reason: str, when: str, *, from_file: bool) -> None:
    """Refuse where the plan in memory, or a file as it is now, has another hash than it should, or is gone."""
    expected = {
        THRESHOLDS_FILE: facts["thresholds"],
        CHOICES_FILE: facts["choices"],
    }
    if from_file:
        expected[study.folder / STUDY_FILE] = facts["study_file"]
        expected[study.folder / MAPPING_FILE] = "" if study.mapping is None else bytes_hash(study.mapping)
    if study.analysis_hash != facts["plan"]:
        raise _other(reason, f"{STUDY_FILE} was changed {when}.")
    for path, digest in expected.items():
        there = os.path.lexists(path)
        if digest and not there:
            raise _other(reason, f"{path.name} was taken away {when}.")
        if there and file_hash(path) != digest:
            raise _other(reason, f"{path.name} was {'changed' if digest else 'added'} {when}.")


def _other(reason: str, plain: str) -> StudyFileError:
    return StudyFileError(reason, plain, "Start again with the file as it is now.")
