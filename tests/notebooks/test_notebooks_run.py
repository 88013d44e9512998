"""Every notebook runs from top to bottom, and so does the README's Python."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


@pytest.mark.slow
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path, monkeypatch):
    nbformat = pytest.importorskip("nbformat")
    nbclient = pytest.importorskip("nbclient")
    monkeypatch.setenv("PYTHONWARNINGS", "ignore")
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    done = nbclient.NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(ROOT)}}
    ).execute()
    assert notebook.cells[0].cell_type == "markdown"
    assert notebook.cells[0].source.rstrip().split("\n")[0].endswith("?"), "it asks a question"
    last = done.cells[-1]
    assert last.cell_type == "code"
    assert re.search(r"\d", "".join(out.get("text", "") for out in last.outputs)), "and answers it"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_is_kept_clean_defines_nothing_and_says_where_its_answer_is(path):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    assert not any(cell.get("outputs") for cell in cells), "it holds outputs; clear them"
    code = ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "code"]
    defined = re.compile(r"^\s*(def|class|async def) |\blambda\b", re.MULTILINE)
    assert not any(defined.search(cell) for cell in code), "it defines; let the library do that"
    assert "".join(cells[-2]["source"]).startswith("**Answer**")


def test_every_notebook_is_named_in_the_readme():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    named = set(re.findall(r"\(notebooks/([\w.]+)\)", text))
    assert named | {"chain_in_ten_lines.ipynb"} == {path.name for path in NOTEBOOKS}


def test_readme_python_runs(monkeypatch, capsys):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    code = re.search(r"```python\n(.*?)```", text, re.DOTALL).group(1)
    monkeypatch.chdir(ROOT)
    exec(compile(code, "README.md", "exec"), {})
    said = capsys.readouterr().out
    assert "share washed" in said
    assert "most the land may cost" in said


def test_readme_names_only_pictures_that_are_there():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for picture in re.findall(r"!\[[^]]*\]\(([^)]+)\)", text):
        assert (ROOT / picture).is_file(), picture
