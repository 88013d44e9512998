"""How are the places of a way's nodes held until all are read, and outlines put together?

Places stay as hexadecimal text, the way libosmium writes lines, until all of them are decoded
at once: that is many times faster than one number at a time.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from capture.place.network import Floats, Longs

_UNDEFINED: Final = 2147483647
_PER_DEGREE: Final = 1e7
#: hexadecimal digits of one place
WKB_POINT: Final = 32
#: node ids, and longitudes and latitudes in well-known binary form, hexadecimal
Run = tuple[list[int], str]


def runs_of(nodes: Any) -> Iterator[Run]:
    """Cut a way's nodes into runs whose places are known."""
    refs: list[int] = []
    places: list[float] = []
    for node in nodes:
        where = node.location
        if where.x == _UNDEFINED:
            if len(refs) > 1:
                yield refs, struct.pack(f"<{len(places)}d", *places).hex()
            refs, places = [], []
            continue
        refs.append(node.ref)
        places += (where.x / _PER_DEGREE, where.y / _PER_DEGREE)
    if len(refs) > 1:
        yield refs, struct.pack(f"<{len(places)}d", *places).hex()


def read_places(runs: list[str]) -> tuple[Floats, Floats, Longs]:
    """Decode runs of places at once: latitudes, longitudes, and where each run begins."""
    both = np.frombuffer(bytes.fromhex("".join(runs)), dtype="<f8").reshape(-1, 2)
    counts = [len(run) // WKB_POINT for run in runs]
    starts = np.concatenate([[0], np.cumsum(np.array(counts, dtype=np.int64))]).astype(np.int64)
    return both[:, 1].astype(np.float64), both[:, 0].astype(np.float64), starts


def join_rings(pieces: list[Run]) -> list[str]:
    """Join pieces of outlines end to end into closed rings; what does not close is left out."""
    rings: list[str] = []
    waiting = [(list(ids), _points(places)) for ids, places in pieces]
    while waiting:
        ids, points = waiting.pop()
        joined = True
        while ids[0] != ids[-1] and joined:
            joined = False
            for k, (more, others) in enumerate(waiting):
                if more[0] == ids[-1] or more[-1] == ids[-1]:
                    step = 1 if more[0] == ids[-1] else -1
                    ids += more[::step][1:]
                    points += others[::step][1:]
                    del waiting[k]
                    joined = True
                    break
        if ids[0] == ids[-1] and len(ids) >= 4:
            rings.append("".join(points))
    return rings


def _points(places: str) -> list[str]:
    return [places[k : k + WKB_POINT] for k in range(0, len(places), WKB_POINT)]
