"""Does the program start as fast as promised? Medians of five, after one earlier start; CI gets twice the bar."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

import pytest

from survstats.records.demo import demo_folder

MAIN = "from survstats.cli.program import main; main()"


def median_s(*words, first_line=False):
    times = []
    for _ in range(6):
        start = time.perf_counter()
        running = subprocess.Popen([sys.executable, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        if first_line:
            assert running.stdout.readline()
            times.append(time.perf_counter() - start)
            running.communicate(timeout=60)
        else:
            running.communicate(timeout=60)
            times.append(time.perf_counter() - start)
        assert running.returncode == 0
    return statistics.median(times[1:])


@pytest.mark.parametrize(
    ("bar_s", "words", "first_line"),
    [
        (0.4, ["--help"], False),
        (0.4, ["--version"], False),
        (0.5, ["claim", "--aboard", "100", "--died", "40", "--trained-of-survivors", "80%"], False),
        (1.5, ["check", str(demo_folder("demo_survivor_only"))], True),
    ],
)
def test_commands_start_fast(bar_s, words, first_line):
    taken = median_s("-c", MAIN, *words, first_line=first_line)
    assert taken < 2 * bar_s, f"{words[0]} took {taken:.2f} s; the bar is {bar_s} s"


def test_the_package_is_light_to_import():
    bare, ours = median_s("-c", "pass"), median_s("-c", "import survstats")
    assert ours - bare < 2 * 0.3, (
        f"import survstats took {ours - bare:.2f} s over the interpreter; the bar is .3 s"
    )
