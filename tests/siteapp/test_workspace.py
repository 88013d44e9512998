"""Is work kept through reloads, crashes, second tabs and damaged files?"""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import threading

import pytest

from capture.basis import CaptureError, DataError, InputError
from siteapp.workspace import MOST_HISTORY, SCHEMA_VERSION, ConflictError, Inputs, Workspace

START = Inputs(area="demo", site="parcel:P01")


def test_what_is_saved_is_there_after_reopening(tmp_path) -> None:
    path = tmp_path / "deep" / "work.sqlite"
    kept = Workspace(path).add("Mill Road", START)
    changed = Workspace(path).save(kept, START.change(offer={"ticket_price_usd": 15.0}))
    again = Workspace(path).load(kept.id)
    assert again == changed
    assert again.inputs.offer == {"ticket_price_usd": 15.0}
    assert again.revision == 2


def test_write_ahead_log_is_on(tmp_path) -> None:
    space = Workspace(tmp_path / "w.sqlite")
    base = sqlite3.connect(space.path)
    assert base.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert base.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
    base.close()


def test_second_tab_does_not_overwrite_the_first(tmp_path) -> None:
    space = Workspace(tmp_path / "w.sqlite")
    seen = space.add("a", START)
    space.save(seen, START.change(seed=1))
    with pytest.raises(ConflictError, match="changed in another tab"):
        space.save(seen, START.change(seed=2))
    assert space.load(seen.id).inputs.seed == 1


def test_many_writers_lose_no_revision(tmp_path) -> None:
    space = Workspace(tmp_path / "w.sqlite")
    kept = space.add("a", START)
    faults = []

    def push(start: int) -> None:
        mine = Workspace(space.path)
        for step in range(10):
            while True:
                now = mine.load(kept.id)
                try:
                    mine.save(now, now.inputs.change(seed=start + step))
                    break
                except ConflictError:
                    continue
                except Exception as error:
                    faults.append(error)
                    return

    threads = [threading.Thread(target=push, args=(100 * k,)) for k in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert space.load(kept.id).revision == 41


@pytest.mark.regression
def test_killed_while_saving_leaves_a_whole_state(tmp_path) -> None:
    path = tmp_path / "w.sqlite"
    kept = Workspace(path).add("a", START)
    script = (
        "import sys; from pathlib import Path; from siteapp.workspace import *\n"
        f"w = Workspace(Path({str(path)!r})); k = w.load({kept.id})\n"
        "while True:\n"
        "    k = w.save(k, k.inputs.change(seed=k.revision)); print(k.revision, flush=True)\n"
    )
    child = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE)
    for _ in range(20):
        child.stdout.readline()
    child.kill()
    child.wait()
    child.stdout.close()
    after = Workspace(path).load(kept.id)
    assert after.revision >= 21
    assert after.inputs.seed == after.revision - 1


def test_history_brings_an_earlier_state_back(tmp_path) -> None:
    space = Workspace(tmp_path / "w.sqlite")
    kept = space.add("a", START)
    kept = space.save(kept, START.change(seed=5), said="seed 5")
    newest, oldest = space.history(kept.id)
    assert (newest.revision, newest.said) == (2, "seed 5")
    assert space.state(kept.id, newest.revision).seed == 5
    back = space.save(kept, space.state(kept.id, oldest.revision), said="back to the start")
    assert back.inputs == START
    assert len(space.history(kept.id)) == 3


def test_history_is_bounded(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("siteapp.workspace.MOST_HISTORY", 5)
    space = Workspace(tmp_path / "w.sqlite")
    kept = space.add("a", START)
    for seed in range(9):
        kept = space.save(kept, START.change(seed=seed))
    states = [space.state(kept.id, row.revision).seed for row in space.history(kept.id)]
    assert states == [8, 7, 6, 5, 4]
    with pytest.raises(InputError, match="state 1 of this study is no longer kept"):
        space.state(kept.id, 1)
    assert MOST_HISTORY >= 100


def test_export_and_import_are_one_file(tmp_path) -> None:
    first = Workspace(tmp_path / "a.sqlite")
    first.add("one", START)
    first.add("two", START.change(site="40.0,-98.5", replaced={"line.pitch_m": 7.0}))
    second = Workspace(tmp_path / "b.sqlite")
    second.add("mine", START)
    second.bring_in(first.export())
    assert {kept.name for kept in second.studies()} == {"one", "two", "mine"}
    by_name = {kept.name: kept.inputs for kept in second.studies()}
    assert by_name["two"] == START.change(site="40.0,-98.5", replaced={"line.pitch_m": 7.0})


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xfe",
        b"[]",
        b'{"kind": "other"}',
        b'{"kind": "site-to-line workspace", "studies": 3}',
        b'{"kind": "site-to-line workspace", "studies": [{"inputs": {"seed": "x"}}]}',
        b'{"kind": "site-to-line workspace", "studies": [{"inputs": {"offer": {"nope": 1}}}]}',
        b'{"kind": "site-to-line workspace", "studies": [{"inputs": {"offer": {"bays": -1}}}]}',
        b'{"kind": "site-to-line workspace", "studies": [{"inputs": {"replaced": {"a": "b"}}}]}',
        b"[" * 100_000,
    ],
)
def test_damaged_import_adds_nothing(tmp_path, content) -> None:
    space = Workspace(tmp_path / "w.sqlite")
    with pytest.raises(CaptureError):
        space.bring_in(content)
    assert space.studies() == []


def test_one_bad_study_keeps_the_good_one_out_too(tmp_path) -> None:
    space = Workspace(tmp_path / "w.sqlite")
    content = json.loads(Workspace(tmp_path / "x.sqlite").export())
    content["studies"] = [{"name": "good", "inputs": {}}, {"name": "bad", "inputs": {"draws": []}}]
    with pytest.raises(DataError, match="draws must be int"):
        space.bring_in(json.dumps(content).encode())
    assert space.studies() == []


def test_another_file_is_refused_and_left_alone(tmp_path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("not a database, but long enough to look at " * 40)
    with pytest.raises(DataError, match="not a workspace file"):
        Workspace(path)
    assert path.read_text().startswith("not a database")
    other = tmp_path / "other.sqlite"
    base = sqlite3.connect(other)
    base.execute("CREATE TABLE theirs (x)")
    base.commit()
    base.close()
    with pytest.raises(DataError, match="not a workspace file"):
        Workspace(other)


def test_newer_file_is_refused(tmp_path) -> None:
    space = Workspace(tmp_path / "w.sqlite")
    base = sqlite3.connect(space.path)
    base.execute(f"PRAGMA user_version={SCHEMA_VERSION + 1}")
    base.close()
    with pytest.raises(DataError, match="newer version"):
        Workspace(space.path)


def test_older_file_is_brought_up(tmp_path) -> None:
    space = Workspace(tmp_path / "w.sqlite")
    kept = space.add("a", START)
    base = sqlite3.connect(space.path)
    base.execute("DROP INDEX history_by_study")
    base.execute("PRAGMA user_version=1")
    base.close()
    again = Workspace(space.path)
    assert again.load(kept.id) == kept
    base = sqlite3.connect(space.path)
    found = base.execute("SELECT 1 FROM sqlite_master WHERE name = 'history_by_study'").fetchall()
    base.close()
    assert found


def test_unknown_study_is_said(tmp_path) -> None:
    with pytest.raises(InputError, match="no study 7"):
        Workspace(tmp_path / "w.sqlite").load(7)


def test_names_settings_and_removal(tmp_path) -> None:
    space = Workspace(tmp_path / "w.sqlite")
    kept = space.add("  \x00 ", START)
    assert kept.name == "untitled"
    space.rename(kept.id, "x" * 500)
    assert len(space.load(kept.id).name) == 80
    assert space.setting("units", "us") == "us"
    space.keep_setting("units", "metric")
    space.keep_setting("units", "us")
    assert space.setting("units") == "us"
    space.remove(kept.id)
    assert space.studies() == []
    assert space.history(kept.id) == []


def test_studies_of_one_name_are_told_apart(tmp_path) -> None:
    from siteapp.frame import name_apart

    space = Workspace(tmp_path / "work.sqlite")
    for name in ("Try", "Try", "Other"):
        space.add(name, Inputs(area="town", site="parcel:P01"))
    names = name_apart(space.studies())
    assert len(set(names.values())) == 3
    assert "Other (parcel:P01)" in names.values()
