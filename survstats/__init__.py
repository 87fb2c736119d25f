"""Ditching survivability statistics: from occupant-level mishap records to a paper a board can decide from."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_WHERE = {
    "CallError": "survstats.groundwork.errors",
    "NotEstimable": "survstats.groundwork.errors",
    "PublishError": "survstats.groundwork.errors",
    "RecordsError": "survstats.groundwork.errors",
    "StudyFileError": "survstats.groundwork.errors",
    "SurvstatsError": "survstats.groundwork.errors",
    "Number": "survstats.study.results",
    "Records": "survstats.records.loading",
    "Share": "survstats.study.headline",
    "Study": "survstats.study.plan",
    "StudyResults": "survstats.study.results",
    "Table": "survstats.study.results",
    "check": "survstats.study.steps",
    "claim_paper": "survstats.report.claim_paper",
    "copy_demo": "survstats.records.demo",
    "demo_folder": "survstats.records.demo",
    "propose_mapping": "survstats.records.mapping.proposal",
    "publish": "survstats.report.papers",
    "read_records": "survstats.study.steps",
    "read_results": "survstats.study.results",
    "read_study": "survstats.study.plan",
    "run": "survstats.study.run",
    "trace": "survstats.study.trace",
    "weigh_headline": "survstats.study.headline",
    "write_form": "survstats.records.workbooks.collection_form",
    "write_marked": "survstats.records.workbooks.marked",
}

__all__ = ["__version__", *sorted(_WHERE)]

if TYPE_CHECKING:
    from survstats.groundwork.errors import (
        CallError,
        NotEstimable,
        PublishError,
        RecordsError,
        StudyFileError,
        SurvstatsError,
    )
    from survstats.records.demo import copy_demo, demo_folder
    from survstats.records.loading import Records
    from survstats.records.mapping.proposal import propose_mapping
    from survstats.records.workbooks.collection_form import write_form
    from survstats.records.workbooks.marked import write_marked
    from survstats.report.claim_paper import claim_paper
    from survstats.report.papers import publish
    from survstats.study.headline import Share, weigh_headline
    from survstats.study.plan import Study, read_study
    from survstats.study.results import Number, StudyResults, Table, read_results
    from survstats.study.run import run
    from survstats.study.steps import check, read_records
    from survstats.study.trace import trace


def __getattr__(name: str) -> Any:
    """Import a public name when it is first used, so that ``import survstats`` stays light."""
    if name not in _WHERE:
        raise AttributeError(f"module 'survstats' has no attribute '{name}'")
    return getattr(import_module(_WHERE[name]), name)


def __dir__() -> list[str]:
    return __all__
