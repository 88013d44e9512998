"""How is the workspace's file opened, brought up to date and told from other files?

SQLite, written ahead, one transaction at a time, so that a stop in the middle leaves the
state before. A file may come from somebody else: one with triggers, views or tables of
something else in it is refused before anything is read from it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from capture.basis import DataError

#: longest wait for another program that is writing
WAIT_S: Final = 10.0
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
#: what brings a file from one schema version to the next
MIGRATIONS: Final[tuple[str, ...]] = (_TABLES_1, _TABLES_2)
SCHEMA_VERSION: Final = len(MIGRATIONS)
_OURS: Final = frozenset(
    {("table", "studies"), ("table", "history"), ("table", "settings"),
     ("index", "history_by_study"), ("index", "sqlite_autoindex_settings_1")}
)  # fmt: skip


@contextmanager
def open_base(path: Path) -> Iterator[sqlite3.Connection]:
    """Open the file for one transaction, kept when the block ends well and undone otherwise.

    Raises
    ------
    DataError
        When the file is busy, cannot be written or is none of ours.
    """
    try:
        with _connect(path) as base:
            yield base
    except sqlite3.Error as error:
        raise DataError(_say_fault(path, error)) from None


@contextmanager
def _connect(path: Path) -> Iterator[sqlite3.Connection]:
    base = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
    try:
        base.execute("PRAGMA trusted_schema=OFF")
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


def _say_fault(path: Path, error: sqlite3.Error) -> str:
    text = str(error)
    if "locked" in text or "busy" in text:
        return f"{path.name}: another program is writing to the workspace; try again in a moment"
    if any(word in text for word in ("readonly", "unable to open", "disk", "full")):
        return (
            f"{path}: the workspace cannot be written there ({text}); free some room, or name "
            "another file with --workspace"
        )
    return f"{path.name}: not a workspace file (SQLite); name another with --workspace"


def bring_up(base: sqlite3.Connection, name: str) -> None:
    """Bring an open file to the schema of this version, all steps or none.

    Raises
    ------
    DataError
        When it was made by a newer version, or holds what no workspace holds.
    """
    (version,) = base.execute("PRAGMA user_version").fetchone()
    if version > SCHEMA_VERSION:
        raise DataError(
            f"{name}: made by a newer version (schema {version}, this one knows "
            f"{SCHEMA_VERSION}); update the program"
        )
    held = set(base.execute("SELECT type, name FROM sqlite_master").fetchall())
    if held - _OURS or (version == 0 and held):
        raise DataError(
            f"{name}: not a workspace file (SQLite), it holds things of another program; name "
            "another with --workspace"
        )
    for step in MIGRATIONS[version:]:
        for statement in filter(str.strip, step.split(";")):
            base.execute(statement)
    base.execute(f"PRAGMA user_version={SCHEMA_VERSION}")
