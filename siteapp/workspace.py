"""Where is work kept so that a reload, a crash or a second tab loses nothing?

One SQLite file per workspace, written ahead (WAL), with a schema version. Each change is
saved when it is made; earlier states stay in a history and can be brought back. A save
that would overwrite somebody else's newer one is refused, never done silently.
"""

from __future__ import annotations

import json
import os
import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final

from capture.basis import DataError, InputError, Offer, plain_text

SCHEMA_VERSION: Final = 2
MOST_HISTORY: Final = 400
MOST_IMPORT_BYTES: Final = 20_000_000
MOST_NAME: Final = 80
_EXPORT_KIND: Final = "site-to-line workspace"


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """All that a study is made from; the rest follows by computation."""

    #: folder of the area, or a bare roads file
    area: str = ""
    #: "LAT,LON", "parcel:ID" or a file; "" before a site is placed
    site: str = ""
    #: what is to be built and sold, fields that differ from the usual ones
    offer: dict[str, Any] = field(default_factory=dict)
    #: built-in numbers replaced, by ``room.name``
    replaced: dict[str, float] = field(default_factory=dict)
    #: answers to the ground's questions, by item: a status, or all that is known
    answers: dict[str, Any] = field(default_factory=dict)
    #: changes of rivals by hand, in their order
    rivals: list[Any] = field(default_factory=list)
    #: where counts were tied by hand, by count
    ties: dict[str, Any] = field(default_factory=dict)
    #: which column of a count file holds what, by file and role
    columns: dict[str, Any] = field(default_factory=dict)
    #: dated notes on roads, such as road works, rows of a table
    notes: list[Any] = field(default_factory=list)
    #: the user's own washes with known cars, rows of a table
    known: list[Any] = field(default_factory=list)
    #: known sites left out of the fit, by id
    left_out: list[Any] = field(default_factory=list)
    #: driveway, sign, openings and other choices on the ground
    plan: dict[str, Any] = field(default_factory=dict)
    #: stations of the line where they are not the package's own, and other choices of it
    line: dict[str, Any] = field(default_factory=dict)
    #: country and state of the holidays, days shut, monthly weather
    year_choice: dict[str, Any] = field(default_factory=dict)
    #: the user's own sales by hour, rows of a table
    sales: list[Any] = field(default_factory=list)
    #: the user's own months of tickets and members, rows of a table
    member_months: list[Any] = field(default_factory=list)
    #: seed of the draws
    seed: int = 0
    #: number of possible worlds
    draws: int = 1000

    def change(self, **changes: Any) -> Inputs:
        """Return inputs with some of them changed."""
        return replace(self, **changes)

    def to_dict(self) -> dict[str, Any]:
        """Return plain JSON values."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Inputs:
        """Read inputs that came from a file, every field checked.

        Raises
        ------
        DataError
            When a field is of another kind than it should be.
        """
        kinds: dict[str, Any] = {
            "area": str, "site": str, "offer": dict, "replaced": dict, "answers": dict,
            "rivals": list, "ties": dict, "columns": dict, "notes": list, "known": list, "left_out": list,
            "plan": dict, "line": dict, "year_choice": dict, "sales": list, "member_months": list,
            "seed": int, "draws": int,
        }  # fmt: skip
        kept = {}
        for name in (item.name for item in fields(cls)):
            if name not in values:
                continue
            if not isinstance(values[name], kinds[name]) or isinstance(values[name], bool):
                raise DataError(f"workspace: {name} must be {kinds[name].__name__}; export again")
            kept[name] = values[name]
        inputs = cls(**kept)
        Offer(**Offer().change(**inputs.offer).to_dict())
        for key, value in inputs.replaced.items():
            if not isinstance(value, int | float) or isinstance(value, bool):
                raise DataError(f"workspace: {plain_text(key)} must be a number; export again")
        return inputs


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A study as kept."""

    #: number in the workspace
    id: int
    #: what the user calls it
    name: str
    #: counts the saves; tells whether somebody saved in between
    revision: int
    #: seconds since 1970 of the last save
    changed: float
    #: what it is made from
    inputs: Inputs


class ConflictError(InputError):
    """Somebody else saved the same study in between."""


_TABLES_1: Final = """
CREATE TABLE studies (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL, revision INTEGER NOT NULL,
  changed REAL NOT NULL, inputs TEXT NOT NULL);
CREATE TABLE history (
  id INTEGER PRIMARY KEY, study INTEGER NOT NULL, revision INTEGER NOT NULL,
  changed REAL NOT NULL, said TEXT NOT NULL, inputs TEXT NOT NULL);
CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL);
"""
_TABLES_2: Final = """
CREATE INDEX IF NOT EXISTS history_by_study ON history (study, id);
"""
_MIGRATIONS: Final[tuple[str, ...]] = (_TABLES_1, _TABLES_2)


def default_path() -> Path:
    """Return where the workspace is kept when no file is named."""
    base = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(base) / "site-to-line" / "workspace.sqlite"


class Workspace:
    """Studies and settings in one SQLite file.

    Parameters
    ----------
    path : Path
        Made with its folder when it is not there.
    clock : callable
        Gives the seconds since 1970.

    Raises
    ------
    DataError
        When the file is no workspace, or was made by a newer version.
    """

    def __init__(self, path: Path, *, clock: Callable[[], float] = time.time) -> None:
        self.path = path
        self._clock = clock
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with self._open() as base:
                self._migrate(base)
        except sqlite3.DatabaseError:
            raise DataError(
                f"{path.name}: not a workspace file (SQLite); name another with --workspace"
            ) from None
        except OSError as error:
            raise DataError(
                f"{path}: the workspace cannot be kept there ({error.strerror}); "
                "name another with --workspace"
            ) from None

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        base = sqlite3.connect(self.path, timeout=10, isolation_level=None)
        try:
            base.execute("PRAGMA journal_mode=WAL")
            base.execute("PRAGMA synchronous=NORMAL")
            base.execute("BEGIN IMMEDIATE")
            yield base
            base.execute("COMMIT")
        except BaseException:
            if base.in_transaction:
                base.execute("ROLLBACK")
            raise
        finally:
            base.close()

    def _migrate(self, base: sqlite3.Connection) -> None:
        (version,) = base.execute("PRAGMA user_version").fetchone()
        if version > SCHEMA_VERSION:
            raise DataError(
                f"{self.path.name}: made by a newer version (schema {version}, this one knows "
                f"{SCHEMA_VERSION}); update the program"
            )
        tables = base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if version == 0 and tables:
            raise sqlite3.DatabaseError("tables of something else")
        for step in _MIGRATIONS[version:]:
            for statement in filter(str.strip, step.split(";")):
                base.execute(statement)
        base.execute(f"PRAGMA user_version={SCHEMA_VERSION}")

    def studies(self) -> list[Kept]:
        """Return all studies, the last changed first."""
        with self._open() as base:
            rows = base.execute(
                "SELECT id, name, revision, changed, inputs FROM studies ORDER BY changed DESC, id"
            ).fetchall()
        return [_kept(row) for row in rows]

    def load(self, study: int) -> Kept:
        """Return one study.

        Raises
        ------
        InputError
            When there is none of that number.
        """
        with self._open() as base:
            return self._load(base, study)

    def _load(self, base: sqlite3.Connection, study: int) -> Kept:
        row = base.execute(
            "SELECT id, name, revision, changed, inputs FROM studies WHERE id = ?", (study,)
        ).fetchone()
        if row is None:
            raise InputError(f"workspace: there is no study {study}; choose one from the list")
        return _kept(row)

    def add(self, name: str, inputs: Inputs) -> Kept:
        """Keep a new study."""
        called = plain_text(name, most=MOST_NAME) or "untitled"
        now = self._clock()
        with self._open() as base:
            made = base.execute(
                "INSERT INTO studies (name, revision, changed, inputs) VALUES (?, 1, ?, ?)",
                (called, now, _text(inputs)),
            )
            study = int(made.lastrowid or 0)
            self._remember(base, study, 1, "started", inputs)
            return self._load(base, study)

    def save(self, kept: Kept, inputs: Inputs, *, said: str = "changed") -> Kept:
        """Save changed inputs.

        Parameters
        ----------
        kept : Kept
            The study as the caller last saw it.
        inputs : Inputs
            What it is made from now.
        said : str
            What changed, for the history.

        Raises
        ------
        ConflictError
            When it was saved elsewhere since; nothing is overwritten then.
        """
        with self._open() as base:
            done = base.execute(
                "UPDATE studies SET inputs = ?, revision = revision + 1, changed = ? "
                "WHERE id = ? AND revision = ?",
                (_text(inputs), self._clock(), kept.id, kept.revision),
            )
            if done.rowcount != 1:
                self._load(base, kept.id)
                raise ConflictError(
                    f"{kept.name}: it was changed in another tab or by another person since; "
                    "the newer state is shown, do your change again"
                )
            self._remember(base, kept.id, kept.revision + 1, said, inputs)
            return self._load(base, kept.id)

    def _remember(
        self, base: sqlite3.Connection, study: int, revision: int, said: str, inputs: Inputs
    ) -> None:
        base.execute(
            "INSERT INTO history (study, revision, changed, said, inputs) VALUES (?, ?, ?, ?, ?)",
            (study, revision, self._clock(), plain_text(said, most=200), _text(inputs)),
        )
        base.execute(
            "DELETE FROM history WHERE study = ? AND id NOT IN "
            "(SELECT id FROM history WHERE study = ? ORDER BY id DESC LIMIT ?)",
            (study, study, MOST_HISTORY),
        )

    def history(self, study: int) -> list[tuple[int, float, str, Inputs]]:
        """Return (revision, when, what changed, inputs) of a study, the newest first."""
        with self._open() as base:
            rows = base.execute(
                "SELECT revision, changed, said, inputs FROM history WHERE study = ? "
                "ORDER BY id DESC",
                (study,),
            ).fetchall()
        return [(r, at, said, Inputs.from_dict(json.loads(text))) for r, at, said, text in rows]

    def rename(self, study: int, name: str) -> None:
        """Give a study another name."""
        called = plain_text(name, most=MOST_NAME) or "untitled"
        with self._open() as base:
            base.execute("UPDATE studies SET name = ? WHERE id = ?", (called, study))

    def remove(self, study: int) -> None:
        """Remove a study and its history."""
        with self._open() as base:
            base.execute("DELETE FROM history WHERE study = ?", (study,))
            base.execute("DELETE FROM studies WHERE id = ?", (study,))

    def setting(self, name: str, default: str = "") -> str:
        """Return a setting, such as the units."""
        with self._open() as base:
            row = base.execute("SELECT value FROM settings WHERE name = ?", (name,)).fetchone()
        return str(row[0]) if row else default

    def keep_setting(self, name: str, value: str) -> None:
        """Keep a setting."""
        with self._open() as base:
            base.execute(
                "INSERT INTO settings (name, value) VALUES (?, ?) "
                "ON CONFLICT (name) DO UPDATE SET value = excluded.value",
                (name, value),
            )

    def export(self) -> bytes:
        """Return the whole workspace as one JSON file."""
        studies = [
            {"name": kept.name, "changed": kept.changed, "inputs": kept.inputs.to_dict()}
            for kept in self.studies()
        ]
        content = {"kind": _EXPORT_KIND, "version": SCHEMA_VERSION, "studies": studies}
        return json.dumps(content, indent=1, sort_keys=True).encode()

    def bring_in(self, content: bytes) -> list[Kept]:
        """Add the studies of an exported file; what is here stays.

        Raises
        ------
        DataError
            When the file is none of ours, too large or damaged; nothing is added then.
        """
        if len(content) > MOST_IMPORT_BYTES:
            raise DataError("workspace file: must be under 20 MB; is this another file?")
        try:
            values = json.loads(content)
        except (ValueError, RecursionError):
            raise DataError("workspace file: not readable as JSON; export it again") from None
        if not isinstance(values, dict) or values.get("kind") != _EXPORT_KIND:
            raise DataError("workspace file: not an exported workspace; choose another file")
        listed = values.get("studies")
        if not isinstance(listed, list) or not all(isinstance(item, dict) for item in listed):
            raise DataError("workspace file: its list of studies is damaged; export it again")
        read = [
            (str(item.get("name", "")), Inputs.from_dict(item.get("inputs", {}))) for item in listed
        ]
        return [self.add(name, inputs) for name, inputs in read]


def _text(inputs: Inputs) -> str:
    return json.dumps(inputs.to_dict(), sort_keys=True, allow_nan=False)


def _kept(row: tuple[int, str, int, float, str]) -> Kept:
    number, name, revision, changed, text = row
    inputs = Inputs.from_dict(json.loads(text))
    return Kept(id=number, name=name, revision=revision, changed=changed, inputs=inputs)
