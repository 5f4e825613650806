from __future__ import annotations

import shutil
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parents[1] / "notebooks"


@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.ipynb")), ids=lambda path: path.stem)
def test_a_notebook_runs_from_top_to_bottom_and_keeps_no_output(path, tmp_path):
    notebook = nbformat.read(path, as_version=4)
    assert not any(cell.get("outputs") for cell in notebook.cells)
    shutil.copytree(FOLDER, tmp_path, dirs_exist_ok=True)
    done = NotebookClient(notebook, timeout=120, resources={"metadata": {"path": tmp_path}}).execute()
    answers = [cell.outputs for cell in done.cells if cell.cell_type == "code"]
    assert all(outputs for outputs in answers)


def test_there_are_notebooks():
    assert [path.stem for path in sorted(FOLDER.glob("*.ipynb"))] == ["01_first_forecast", "02_six_seasons"]
