"""Studies carried out as far as the counting: what is counted of the records hangs on nothing that comes after."""

from __future__ import annotations

import datetime
from unittest import mock

from survstats.study import run as carrying_out
from survstats.study.plan import Study
from survstats.study.results import StudyResults


def count_only(study: Study, *, today: datetime.date | None = None) -> StudyResults:
    """The results of a study without the comparison, the doubts and the annex."""
    nothing = mock.Mock(return_value=None)
    with (
        mock.patch.object(carrying_out, "judge", nothing),
        mock.patch.object(carrying_out.annex, "store_annex", nothing),
        mock.patch.object(carrying_out.agreed, "store_judged", nothing),
    ):
        return carrying_out.run(study, today=today, keep_log=False)
