"""Executes the notebooks and stores them with their outputs.

``python tests/notebooks/execute.py`` runs all of them in place, each in a kernel of its own in which a warning is an
error; names after it (``04_training_effect``) choose some. Run it after any change that moves a figure of the demo.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbformat import NotebookNode

#: A warning is an error, but for one that the kernel raises against itself as it shuts down.
WARNINGS = "error,ignore::PendingDeprecationWarning:ipykernel.kernelbase"
ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "notebooks"


def notebooks() -> list[Path]:
    """The notebooks of the project, in order."""
    return sorted(FOLDER.glob("*.ipynb"))


def environment(study: Path | None = None) -> dict[str, str]:
    """The environment of a kernel: warnings are errors, and the study is the demo or the one given."""
    plain = {name: value for name, value in os.environ.items() if name != "SURVSTATS_STUDY"}
    chosen = {} if study is None else {"SURVSTATS_STUDY": str(study)}
    return {
        **plain,
        **chosen,
        "PYTHONWARNINGS": WARNINGS,
        "PYTHONPATH": str(ROOT),
        "OPENBLAS_NUM_THREADS": "1",
    }


def execute(path: Path, study: Path | None = None) -> NotebookNode:
    """A notebook run from top to bottom, for another study if one is given; nothing is stored."""
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(notebook, timeout=60, kernel_name="python3", record_timing=False)
    client.execute(env=environment(study), cwd=str(FOLDER))
    return notebook


def main(names: list[str]) -> None:
    """Execute and store the notebooks of these names, or all."""
    for path in notebooks():
        if not names or path.stem in names:
            start = time.monotonic()
            nbformat.write(execute(path), path)
            print(f"{path.name}: {time.monotonic() - start:.1f} s")


if __name__ == "__main__":
    main(sys.argv[1:])
