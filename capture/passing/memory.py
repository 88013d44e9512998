"""What did the user say about the columns of such a file before?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from capture.basis import DataError

MOST_MEMORY_BYTES: Final = 1_000_000


class ColumnMemory:
    """Remembers what the user said about columns, by the file's headings, in a JSON file.

    Parameters
    ----------
    path : Path
        The JSON file; made on the first answer.

    Raises
    ------
    DataError
        When the file is there but is not such a memory.
    """

    __slots__ = ("path",)

    def __init__(self, path: Path) -> None:
        self.path = path

    def _load(self) -> dict[str, dict[str, str]]:
        if not self.path.exists():
            return {}
        fault = f"{self.path.name}: not a memory of column answers; delete it to start anew"
        if self.path.stat().st_size > MOST_MEMORY_BYTES:
            raise DataError(fault)
        try:
            held: Any = json.loads(self.path.read_text(encoding="utf-8"))
        except (ValueError, UnicodeDecodeError):
            raise DataError(fault) from None
        if not isinstance(held, dict) or not all(
            isinstance(v, dict) and all(isinstance(w, str) for w in v.values())
            for v in held.values()
        ):
            raise DataError(fault)
        return held

    def recall(self, signature: str) -> dict[str, str]:
        """Return the answers given for files with these headings, empty when none."""
        return dict(self._load().get(signature, {}))

    def remember(self, signature: str, answers: Mapping[str, str]) -> None:
        """Keep answers, on top of earlier ones for the same headings."""
        held = self._load()
        held[signature] = {**held.get(signature, {}), **answers}
        self.path.parent.mkdir(parents=True, exist_ok=True)
        spare = self.path.with_suffix(".part")
        spare.write_text(json.dumps(held, indent=1, sort_keys=True), encoding="utf-8")
        spare.replace(self.path)
