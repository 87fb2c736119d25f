"""Are the notebooks stored as they ran, clean, checked by themselves, and good for another study?"""

from __future__ import annotations

import ast
import base64
import io
import json
import re
from pathlib import Path

import nbformat
import numpy as np
import pytest
from execute import ROOT, execute, notebooks
from matplotlib import colormaps
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from nbformat import NotebookNode

PATHS = notebooks()
EXPECTED = {
    "00_start_here",
    "01_the_survivor_headline",
    "02_records_and_gaps",
    "03_the_question",
    "04_training_effect",
    "05_within_the_same_mishap",
    "06_time_to_egress",
    "07_unknown_training",
    "08_fading",
    "09_what_would_overturn_it",
    "10_the_budget_case",
    "11_other_evidence",
    "12_what_to_record_next",
    "14_board_brief",
}
OTHER_STUDIES = ("demo_null", "demo_survivor_only")
#: Colours that matplotlib and seaborn draw with when nobody chose one (seaborn's "deep": from its documentation).
LIBRARY_COLOURS = [*colormaps["tab10"].colors[:4], *map(to_rgb, ("#4c72b0", "#dd8452", "#55a868", "#c44e52"))]

every = pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)


def code_cells(notebook: NotebookNode) -> list[NotebookNode]:
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def asserts(cell: NotebookNode) -> int:
    return sum(isinstance(node, ast.Assert) for node in ast.walk(ast.parse(cell.source)))


def outputs(notebook: NotebookNode) -> list[NotebookNode]:
    return [output for cell in code_cells(notebook) for output in cell.outputs]


def fault_of(notebook: NotebookNode) -> str:
    """Why a notebook is not as it ran; empty where it is."""
    cells = code_cells(notebook)
    if [cell.execution_count for cell in cells] != list(range(1, len(cells) + 1)):
        return "a cell was not executed, or not in order"
    for output in outputs(notebook):
        if output.output_type == "error" or output.get("name") == "stderr":
            return "an error or a warning is stored"
    return ""


def test_the_notebooks_agreed_on_are_there() -> None:
    assert {path.stem for path in PATHS} >= EXPECTED


@every
def test_stored_executed_from_top_to_bottom_without_error_or_warning(path: Path) -> None:
    assert fault_of(nbformat.read(path, as_version=4)) == ""


def test_an_unexecuted_or_failing_notebook_would_be_found() -> None:
    notebook = nbformat.read(PATHS[0], as_version=4)
    code_cells(notebook)[0].outputs = [nbformat.v4.new_output("stream", name="stderr", text="careful")]
    assert fault_of(notebook)
    notebook = nbformat.read(PATHS[0], as_version=4)
    code_cells(notebook)[2].execution_count = None
    assert fault_of(notebook)


@every
def test_one_heading_and_fixed_names_of_cells_and_no_times(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    text = "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    assert len(re.findall(r"(?m)^# ", text)) == 1
    assert notebook.cells[0].source.startswith("# ")
    assert "invented" in notebook.cells[0].source
    assert [cell.id for cell in notebook.cells] == [
        f"{path.stem[:2]}-{k:02d}" for k in range(len(notebook.cells))
    ]
    assert not any("execution" in cell.metadata for cell in notebook.cells)


@every
def test_no_path_of_a_machine_is_stored(path: Path) -> None:
    stored = json.dumps(outputs(nbformat.read(path, as_version=4)))
    without_pictures = re.sub(r'"image/png": "[^"]+"', "", stored)
    assert not re.search(r"(?<![\w.])/(?:work|tmp|home|root|usr|var|opt|Users)/|[A-Z]:\\\\", without_pictures)


@every
def test_checks_itself_and_ends_with_the_headline(path: Path) -> None:
    cells = code_cells(nbformat.read(path, as_version=4))
    assert sum(asserts(cell) > 0 for cell in cells) >= 3
    assert sum("# NBVAL_CHECK_OUTPUT" in cell.source and asserts(cell) > 0 for cell in cells) >= 1
    assert not any("NBVAL_SKIP" in cell.source or "NBVAL_IGNORE" in cell.source for cell in cells)
    assert asserts(cells[-1])
    assert "effect.rd" in cells[-1].source
    assert any("read_results" in cell.source for cell in cells)


@every
def test_the_first_code_cell_holds_the_one_setting(path: Path) -> None:
    cells = code_cells(nbformat.read(path, as_version=4))
    assert "\nSTUDY = None" in cells[0].source
    assert "SURVSTATS_STUDY" in cells[0].source
    assert not any(re.search(r"(?m)^STUDY\b", cell.source) for cell in cells[1:])


@every
def test_functions_are_a_few_lines_and_prose_holds_no_figure_of_the_demo(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    for cell in code_cells(notebook):
        for node in ast.walk(ast.parse(cell.source)):
            if isinstance(node, ast.FunctionDef):
                assert len(node.body) <= 8, node.name
    for cell in notebook.cells:
        if cell.cell_type == "markdown":
            assert not re.search(
                r"\d+(?:\.\d+)? (?:of \d|points?\b(?!\.))", cell.source.replace("some 7 points", "")
            )


@every
def test_every_figure_has_a_text_and_is_followed_by_how_to_read_it(path: Path) -> None:
    cells = nbformat.read(path, as_version=4).cells
    pictures = 0
    for cell, following in zip(cells, [*cells[1:], None], strict=True):
        for output in cell.get("outputs", []):
            if "image/png" in output.get("data", {}):
                pictures += 1
                assert len(output.metadata["image/png"]["alt"]) > 20
                assert following is not None
                assert following.source.startswith("**How to read it.**"), cell.id
    assert pictures


@every
def test_figures_use_no_colour_of_a_library(path: Path) -> None:
    for output in outputs(nbformat.read(path, as_version=4)):
        if "image/png" in output.get("data", {}):
            seen = imread(io.BytesIO(base64.b64decode(output.data["image/png"])))[..., :3].reshape(-1, 3)
            for colour in LIBRARY_COLOURS:
                assert not (np.abs(seen - np.asarray(colour)) < 0.004).all(axis=1).any()


@pytest.mark.slow
@every
@pytest.mark.parametrize("study", OTHER_STUDIES)
def test_runs_on_another_study(path: Path, study: str) -> None:
    notebook = execute(path, ROOT / "data" / study)
    assert fault_of(notebook) == ""


@pytest.mark.slow
def test_a_study_without_estimate_is_answered_in_words() -> None:
    notebook = execute(ROOT / "notebooks" / "04_training_effect.ipynb", ROOT / "data" / "demo_survivor_only")
    said = "".join(output.text for output in outputs(notebook) if output.output_type == "stream")
    assert "Not possible here." in said
    assert "no estimate" in code_cells(notebook)[-1].outputs[0].text
