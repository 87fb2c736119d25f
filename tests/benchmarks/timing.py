"""What the benchmarks share: how a call is timed, and how a bar is noted."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable


def timed(function: Callable[[], object], times: int = 7) -> float:
    """Median processor seconds of a call, after one to warm up."""
    return timed_in_turn(function, times=times)[0]


def timed_in_turn(*functions: Callable[[], object], times: int) -> list[float]:
    """Median processor seconds of each of some functions, called in turn so that all meet the same machine."""
    spans: list[list[float]] = [[] for _ in functions]
    for turn in range(times + 1):
        for function, own in zip(functions, spans, strict=True):
            start = time.process_time()
            function()
            if turn:  # the first calls warm up
                own.append(time.process_time() - start)
    return [statistics.median(own) for own in spans]


def judge(verdicts: list[str], what: str, met: bool) -> None:
    """Note one bar."""
    verdicts.append(f"{'met    ' if met else 'NOT MET'}  {what}")
