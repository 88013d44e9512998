"""Where is work kept so that a reload, a crash or a second tab loses nothing?

One SQLite file per workspace. Each change is saved when it is made; earlier states stay in a
history and can be brought back. Changes of two tabs or two people are put together; where
both changed the same thing, the later one is refused and told, never done silently.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from capture.basis import CaptureError, DataError, InputError, plain_text
from siteapp.inputs import Inputs, read_json, read_table
from siteapp.kept_file import SCHEMA_VERSION, bring_up, open_base
from siteapp.merging import merge_values

if TYPE_CHECKING:
    import sqlite3

__all__ = ["SCHEMA_VERSION", "ConflictError", "Inputs", "Kept", "State", "Workspace"]

MOST_HISTORY: Final = 400
MOST_IMPORT_BYTES: Final = 20_000_000
MOST_IMPORTED: Final = 1_000
MOST_NAME: Final = 80
_EXPORT_KIND: Final = "site-to-line workspace"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """One earlier state of a study, as the history lists it."""

    #: number of the save
    revision: int
    #: seconds since 1970
    changed: float
    #: what was changed then
    said: str


class ConflictError(InputError):
    """Somebody else saved the same study in between."""


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
        except OSError as error:
            raise DataError(
                f"{path}: the workspace cannot be kept there ({error.strerror}); "
                "name another with --workspace"
            ) from None
        with self._open() as base:
            bring_up(base, path.name)

    def _open(self) -> AbstractContextManager[sqlite3.Connection]:
        return open_base(self.path)

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
        with self._open() as base:
            return self._add(base, name, inputs)

    def _add(self, base: sqlite3.Connection, name: str, inputs: Inputs) -> Kept:
        called = plain_text(name, most=MOST_NAME) or "untitled"
        made = base.execute(
            "INSERT INTO studies (name, revision, changed, inputs) VALUES (?, 1, ?, ?)",
            (called, self._clock(), _text(inputs)),
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
            return self._save(base, kept, inputs, said)

    def _save(self, base: sqlite3.Connection, kept: Kept, inputs: Inputs, said: str) -> Kept:
        done = base.execute(
            "UPDATE studies SET inputs = ?, revision = revision + 1, changed = ? "
            "WHERE id = ? AND revision = ?",
            (_text(inputs), self._clock(), kept.id, kept.revision),
        )
        if done.rowcount != 1:
            self._load(base, kept.id)
            raise _conflict(kept.name, "it")
        self._remember(base, kept.id, kept.revision + 1, said, inputs)
        return self._load(base, kept.id)

    def put(
        self, study: int, changes: Mapping[str, Any], *, seen: int | None, said: str = "changed"
    ) -> Kept:
        """Save changed fields on top of whatever others saved since they were seen.

        Parameters
        ----------
        study : int
            Its number.
        changes : mapping of str to value
            Fields of :class:`Inputs` as they are wanted.
        seen : int or None
            Revision that the user saw; None is the one kept now.
        said : str
            What changed, for the history.

        Raises
        ------
        ConflictError
            When somebody else changed the same thing since; nothing is saved then.
        InputError
            When there is no such study.
        """
        with self._open() as base:
            kept = self._load(base, study)
            before = self._find_state(base, study, seen) if seen is not None else None
            if before is None or seen == kept.revision:
                return self._save(base, kept, kept.inputs.change(**changes), said)
            merged = {}
            for name, wanted in changes.items():
                try:
                    merged[name] = merge_values(
                        getattr(before, name), getattr(kept.inputs, name), wanted
                    )
                except ValueError as error:
                    what = f"{name} {error}".strip().replace("_", " ")
                    raise _conflict(kept.name, plain_text(what, most=60)) from None
            return self._save(base, kept, kept.inputs.change(**merged), said)

    def _find_state(self, base: sqlite3.Connection, study: int, revision: int) -> Inputs | None:
        row = base.execute(
            "SELECT inputs FROM history WHERE study = ? AND revision = ? ORDER BY id DESC",
            (study, revision),
        ).fetchone()
        return None if row is None else _read_inputs(row[0])

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

    def history(self, study: int) -> list[State]:
        """Return the states of a study, the newest first."""
        with self._open() as base:
            rows = base.execute(
                "SELECT revision, changed, said FROM history WHERE study = ? ORDER BY id DESC",
                (study,),
            ).fetchall()
        return [State(revision=r, changed=at, said=said) for r, at, said in rows]

    def state(self, study: int, revision: int) -> Inputs:
        """Return what a study was made from at one of its states.

        Raises
        ------
        InputError
            When the history does not reach so far back.
        """
        with self._open() as base:
            found = self._find_state(base, study, revision)
        if found is None:
            raise InputError(
                f"workspace: state {revision} of this study is no longer kept; choose a newer one"
            )
        return found

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
        values = read_json(content)
        if not isinstance(values, dict) or values.get("kind") != _EXPORT_KIND:
            raise DataError("workspace file: not an exported workspace; choose another file")
        version = values.get("version", 1)
        if not isinstance(version, int) or version > SCHEMA_VERSION:
            raise DataError("workspace file: exported by a newer version; update the program")
        listed = values.get("studies")
        if not isinstance(listed, list) or not all(isinstance(item, dict) for item in listed):
            raise DataError("workspace file: its list of studies is damaged; export it again")
        if len(listed) > MOST_IMPORTED:
            raise DataError(
                f"workspace file: at most {MOST_IMPORTED:,} studies are taken, got "
                f"{len(listed):,}; split it"
            )
        read = [
            (str(item.get("name", "")), Inputs.from_dict(read_table(item.get("inputs", {}))))
            for item in listed
        ]
        with self._open() as base:
            return [self._add(base, name, inputs) for name, inputs in read]


def _text(inputs: Inputs) -> str:
    return json.dumps(inputs.to_dict(), sort_keys=True, allow_nan=False)


def _read_inputs(text: str) -> Inputs:
    try:
        return Inputs.from_dict(read_table(json.loads(text)))
    except CaptureError:
        raise
    except (ValueError, RecursionError):
        raise DataError(
            "workspace: a study in it is damaged; start with another file by --workspace"
        ) from None


def _conflict(name: str, what: str) -> ConflictError:
    return ConflictError(
        f"{name}: {what} was changed in another tab or by another person since; the newer state "
        "is shown, do your change again"
    )


def _kept(row: tuple[int, str, int, float, str]) -> Kept:
    number, name, revision, changed, text = row
    return Kept(id=number, name=name, revision=revision, changed=changed, inputs=_read_inputs(text))
