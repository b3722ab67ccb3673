"""A notebook run without a browser shows answers with their cautions, and pictures."""

from __future__ import annotations

import base64
from pathlib import Path

import nbclient
import nbformat

CELLS = (
    "import steybrae\nsample = steybrae.sample()",
    "plan = steybrae.screen([(59.2240, -8.0574), (59.2270, -8.0590)], sample.model, reach_m=500)\nplan",
    "plan.figure()",
    "[plan, steybrae.sample]",
    "steybrae.slopes(sample.model, edges_deg=(30, 40))",
    "steybrae.review(sample.log)",
    "steybrae.review(sample.log).to_frame()",
)


def run(folder: Path) -> nbformat.NotebookNode:
    cells = [nbformat.v4.new_code_cell(text) for text in CELLS]
    notebook = nbformat.v4.new_notebook(cells=cells)
    nbclient.NotebookClient(notebook, timeout=600, resources={"metadata": {"path": str(folder)}}).execute()
    return notebook


def test_a_notebook_shows_tables_and_pictures(tmp_path: Path) -> None:
    shown = [cell.outputs for cell in run(tmp_path).cells]
    data = [outputs[0]["data"] if outputs else {} for outputs in shown]
    assert not [one for outputs in shown for one in outputs if one["output_type"] != "execute_result"]
    for page in (data[1], data[4], data[5]):
        assert "<h2>Cautions</h2>" in page["text/html"]
        assert len(page["text/plain"].splitlines()) == 1
    assert "decide" in data[4]["text/html"]
    assert base64.b64decode(data[2]["image/png"]).startswith(b"\x89PNG")
    assert len(data[3]["text/plain"]) < 1000
    assert data[5]["text/html"].count("<table>") == 1
    assert "<table" in data[6]["text/html"]
