"""Every notebook runs from top to bottom, and so does the README's Python."""

from __future__ import annotations

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


def test_notebooks_are_kept_without_outputs():
    import json

    for path in NOTEBOOKS:
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            assert not cell.get("outputs"), f"{path.name} holds outputs; clear them"


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
