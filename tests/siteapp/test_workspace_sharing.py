"""Do two tabs, older files, stops and files from strangers leave a workspace whole?"""

from __future__ import annotations

import json
import random
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from capture.basis import CaptureError, DataError
from siteapp.inputs import MOST_DRAWS
from siteapp.kept_file import SCHEMA_VERSION
from siteapp.merging import merge_values
from siteapp.workspace import ConflictError, Inputs, Workspace

START = Inputs(area="demo", site="parcel:P01", offer={"ticket_price_usd": 12.0})
OLD = Path(__file__).with_name("data")


@pytest.fixture
def space(tmp_path) -> Workspace:
    return Workspace(tmp_path / "w.sqlite")


def test_changes_of_different_things_are_put_together(space) -> None:
    seen = space.add("a", START)
    space.put(seen.id, {"seed": 5}, seen=1, said="first tab")
    offer = {"ticket_price_usd": 12.0, "bays": 2}
    kept = space.put(seen.id, {"offer": offer}, seen=1, said="second tab")
    assert (kept.revision, kept.inputs.seed, kept.inputs.offer["bays"]) == (3, 5, 2)


def test_two_fields_of_one_offer_are_put_together(space) -> None:
    seen = space.add("a", START)
    space.put(seen.id, {"offer": {"ticket_price_usd": 15.0}}, seen=1)
    kept = space.put(seen.id, {"offer": {"ticket_price_usd": 12.0, "bays": 2}}, seen=1)
    assert kept.inputs.offer == {"ticket_price_usd": 15.0, "bays": 2}


@pytest.mark.parametrize(
    ("theirs", "mine", "what"),
    [
        ({"offer": {"ticket_price_usd": 15.0}}, {"offer": {"ticket_price_usd": 9.0}},
         "offer ticket price usd"),
        ({"seed": 1}, {"seed": 2}, "seed"),
        ({"rivals": [{"op": "remove"}]}, {"rivals": [{"op": "add"}]}, "rivals"),
        ({"offer": {}}, {"offer": {"ticket_price_usd": 9.0}}, "offer ticket price usd"),
    ],
)  # fmt: skip
def test_what_both_changed_is_refused_and_named(space, theirs, mine, what) -> None:
    seen = space.add("a", START)
    now = space.put(seen.id, theirs, seen=1)
    with pytest.raises(ConflictError, match=f"^a: {what} was changed in another tab"):
        space.put(seen.id, mine, seen=1)
    assert space.load(seen.id) == now
    again = space.put(seen.id, mine, seen=now.revision)
    assert again.revision == now.revision + 1


def test_the_same_change_twice_is_no_conflict(space) -> None:
    seen = space.add("a", START)
    space.put(seen.id, {"seed": 3}, seen=1)
    assert space.put(seen.id, {"seed": 3}, seen=1).inputs.seed == 3


def test_a_state_no_longer_kept_takes_the_newest(space, monkeypatch) -> None:
    monkeypatch.setattr("siteapp.workspace.MOST_HISTORY", 2)
    seen = space.add("a", START)
    for seed in (1, 2, 3):
        space.put(seen.id, {"seed": seed}, seen=None)
    assert space.put(seen.id, {"draws": 200}, seen=1).inputs.seed == 3


@pytest.mark.property
def test_merging_takes_every_one_sided_change() -> None:
    rng = random.Random(3)
    for _ in range(300):
        seen = {name: rng.randrange(3) for name in "abcdef" if rng.random() < 0.8}
        one, two = dict(seen), dict(seen)
        for name in "abc":
            one[name] = rng.randrange(9)
        for name in "def":
            two.pop(name, None)
        merged = merge_values(seen, one, two)
        assert merged == {name: one[name] for name in "abc"}
        assert merge_values(seen, two, one) == merged


@pytest.mark.parametrize("version", range(1, SCHEMA_VERSION + 1))
def test_files_of_every_older_version_open(tmp_path, version) -> None:
    path = tmp_path / "old.sqlite"
    base = sqlite3.connect(path)
    base.executescript((OLD / f"workspace_schema_{version}.sql").read_text("utf-8"))
    base.close()
    space = Workspace(path)
    (kept,) = space.studies()
    assert (kept.name, kept.revision, kept.inputs.seed) == ("Mill Road", 3, 4)
    assert kept.inputs.replaced == {"line.pitch_m": 6.5}
    assert kept.inputs.sales == []
    assert [row.said for row in space.history(1)] == ["single price", "seed 4", "started"]
    assert space.state(1, 1).draws == 1000
    assert space.setting("units") == "metric"
    assert space.save(kept, kept.inputs.change(seed=9)).revision == 4
    base = sqlite3.connect(path)
    assert base.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
    assert base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    base.close()


@pytest.mark.parametrize(
    "hostile",
    [
        "CREATE TRIGGER t AFTER UPDATE ON studies BEGIN DELETE FROM history; END",
        "CREATE TRIGGER t AFTER INSERT ON history BEGIN DELETE FROM studies; END",
        "ALTER TABLE studies RENAME TO s; CREATE VIEW studies AS SELECT * FROM s",
        "CREATE TABLE more (x)",
    ],
)
def test_a_file_with_things_that_run_is_refused_before_it_is_read(tmp_path, hostile) -> None:
    path = tmp_path / "w.sqlite"
    kept = Workspace(path).add("a", START)
    base = sqlite3.connect(path)
    base.executescript(hostile)
    base.close()
    with pytest.raises(DataError, match="it holds things of another program"):
        Workspace(path)
    base = sqlite3.connect(path)
    assert base.execute("SELECT count(*) FROM history").fetchone() == (kept.revision,)
    base.close()


def test_a_file_of_our_version_with_other_columns_is_refused(tmp_path) -> None:
    path = tmp_path / "w.sqlite"
    base = sqlite3.connect(path)
    base.executescript("CREATE TABLE studies (x); PRAGMA user_version=2")
    base.close()
    with pytest.raises(DataError, match="not a workspace file"):
        Workspace(path).studies()


def test_a_damaged_study_is_said(space) -> None:
    space.add("a", START)
    base = sqlite3.connect(space.path)
    base.execute("UPDATE studies SET inputs = '{'")
    base.commit()
    base.close()
    with pytest.raises(DataError, match="a study in it is damaged"):
        space.studies()


def test_a_busy_file_is_said(space, monkeypatch) -> None:
    monkeypatch.setattr("siteapp.kept_file.WAIT_S", 0.05)
    other = sqlite3.connect(space.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(DataError, match="another program is writing"):
        space.add("a", START)
    other.execute("ROLLBACK")
    other.close()
    assert space.add("a", START).revision == 1


def test_a_place_that_cannot_hold_a_file_is_said(tmp_path) -> None:
    with pytest.raises(DataError, match="cannot be written there"):
        Workspace(tmp_path)
    (tmp_path / "notes.txt").write_text("x")
    with pytest.raises(DataError, match="cannot be kept there"):
        Workspace(tmp_path / "notes.txt" / "w.sqlite")


def wrap(**inputs: object) -> dict[str, object]:
    listed = [{"name": "good", "inputs": {}}, {"name": "bad", "inputs": inputs}]
    return {"kind": "site-to-line workspace", "version": SCHEMA_VERSION, "studies": listed}


def nest(levels: int) -> list[object]:
    nested: list[object] = []
    for _ in range(levels):
        nested = [nested]
    return nested


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (wrap(known=[float("nan")]), "not readable as JSON"),
        (wrap(known=[float("inf")]), "not readable as JSON"),
        (json.dumps(wrap(known=[7])).replace("7", "1e999"), "broken number"),
        (wrap(site="\ud800"), "broken number or text"),
        (wrap(rivals=nest(60)), "nested over"),
        (wrap(draws=10**12), f"draws must be 1 to {MOST_DRAWS:,}"),
        (wrap(draws=0), "draws must be"),
        (wrap(seed=-1), "seed must be"),
        (wrap(seed=2**80), "seed must be"),
        (wrap(sales={}), "sales must be list"),
        ({**wrap(), "version": SCHEMA_VERSION + 1}, "newer version"),
        ({**wrap(), "version": "9"}, "newer version"),
        ({**wrap(), "studies": [{"inputs": []}]}, "must be a table"),
        ({**wrap(), "studies": [{}] * 1001}, "at most 1,000 studies"),
        (b"SQLite format 3\x00" + b"\x00" * 100, "not readable as JSON"),
    ],
)
def test_a_hostile_import_adds_nothing_and_is_said_in_a_sentence(space, content, words) -> None:
    if isinstance(content, dict):
        content = json.dumps(content)
    raw = content.encode() if isinstance(content, str) else content
    with pytest.raises(CaptureError, match=words) as caught:
        space.bring_in(raw)
    assert "\n" not in str(caught.value)
    assert space.studies() == []


def test_a_huge_import_is_refused_before_it_is_parsed(space) -> None:
    began = time.perf_counter()
    with pytest.raises(DataError, match="under 20 MB"):
        space.bring_in(b"[" * 20_000_001)
    assert time.perf_counter() - began < 0.5


def test_an_import_that_stops_in_the_middle_adds_nothing(space, monkeypatch) -> None:
    other = Workspace(space.path.with_name("other.sqlite"))
    for name in "abc":
        other.add(name, START)
    add, calls = Workspace._add, []

    def stop_at_third(self: Workspace, *given: object) -> object:
        calls.append(given)
        if len(calls) == 3:
            raise KeyboardInterrupt
        return add(self, *given)

    monkeypatch.setattr(Workspace, "_add", stop_at_third)
    with pytest.raises(KeyboardInterrupt):
        space.bring_in(other.export())
    assert space.studies() == []


@pytest.mark.property
def test_killed_at_any_moment_leaves_study_and_history_agreeing(tmp_path) -> None:
    path = tmp_path / "w.sqlite"
    kept = Workspace(path).add("a", START)
    script = (
        "from pathlib import Path; from siteapp.workspace import *\n"
        f"w = Workspace(Path({str(path)!r})); print('ready', flush=True)\n"
        f"while True:\n    k = w.load({kept.id})\n"
        "    w.put(k.id, {'seed': k.revision, 'sales': [[str(k.revision)] * 4000]}, seen=None)\n"
    )
    rng = random.Random(2)
    reached = 1
    for _ in range(4):
        child = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE)
        child.stdout.readline()
        time.sleep(rng.uniform(0.05, 0.4))
        child.kill()
        child.wait()
        child.stdout.close()
        space = Workspace(path)
        now, newest = space.load(kept.id), space.history(kept.id)[0]
        assert newest.revision == now.revision >= reached
        assert space.state(kept.id, now.revision) == now.inputs
        if now.revision > 1:
            assert now.inputs.seed == now.revision - 1
            assert now.inputs.sales == [[str(now.revision - 1)] * 4000]
        reached = now.revision
    assert reached > 4
