"""The inner loop of reading: lines of text, one object of the map each, into numbers.

Compiled by numba on first use and kept on disk. The text is what libosmium writes, object by
line: ``n`` for a node, ``w`` for a way, ``r`` for a relation, then the id, ``T`` and the tags,
and for a node its place, for a way ``N`` and its nodes, each with its place. Signs that could
be mistaken are escaped in it, so a blank, a comma and a line's end always part something.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit

NODE: Final = ord("n")
WAY: Final = ord("w")
RELATION: Final = ord("r")
_LINE_END: Final = ord("\n")
_BLANK: Final = ord(" ")
_COMMA: Final = ord(",")
_MINUS: Final = ord("-")
_POINT: Final = ord(".")
_ZERO: Final = ord("0")
_NINE: Final = ord("9")
#: places after the decimal point that the map keeps
_PLACES: Final = 7
_PER_DEGREE: Final = 1e7
#: shortest line, tag and node of a way, bytes
_LEAST_LINE: Final = 5
_LEAST_TAG: Final = 3
_LEAST_NODE: Final = 5
#: the Fowler-Noll-Vo hash, 64 bits
_HASH_START: Final = np.uint64(14695981039346656037)
_HASH_STEP: Final = np.uint64(1099511628211)
_HASH_FOLD: Final = np.uint64(29)
_FIRST_SLOTS: Final = 4096


@njit(cache=True, nogil=True)
def read_whole(text: Any, at: int) -> tuple[Any, int]:
    """Read a whole number; return it and where it ends."""
    minus = text[at] == _MINUS
    if minus:
        at += 1
    value = np.int64(0)
    while _ZERO <= text[at] <= _NINE:
        value = value * 10 + np.int64(text[at] - _ZERO)
        at += 1
    return (-value if minus else value), at


@njit(cache=True, nogil=True)
def read_degrees(text: Any, at: int) -> tuple[float, int]:
    """Read degrees, NaN when none are written; return them and where they end."""
    start = at
    minus = text[at] == _MINUS
    if minus:
        at += 1
    value = np.int64(0)
    while _ZERO <= text[at] <= _NINE:
        value = value * 10 + np.int64(text[at] - _ZERO)
        at += 1
    if at == start:
        return np.nan, at
    places = 0
    if text[at] == _POINT:
        at += 1
        while _ZERO <= text[at] <= _NINE:
            value = value * 10 + np.int64(text[at] - _ZERO)
            at += 1
            places += 1
    for _ in range(places, _PLACES):
        value *= 10
    return (-value if minus else value) / _PER_DEGREE, at


@njit(cache=True, nogil=True)
def find_slot(
    text: Any, start: int, end: int, code: Any, slots: Any, codes: Any, spots: Any
) -> Any:
    """Return the slot that a tag is in, or the free one that it belongs into."""
    mask = len(slots) - 1
    slot = np.int64(code ^ (code >> _HASH_FOLD)) & mask
    while slots[slot] >= 0:
        word = slots[slot]
        if codes[word] == code and spots[word, 1] - spots[word, 0] == end - start:
            known, here = spots[word, 0], start
            while here < end and text[known] == text[here]:
                known += 1
                here += 1
            if here == end:
                break
        slot = (slot + 1) & mask
    return slot


@njit(cache=True, nogil=True)
def widen(slots: Any, codes: Any, words: int) -> Any:
    """Lay the words so far into four times as many slots."""
    wider = np.full(4 * len(slots), -1, np.int32)
    mask = len(wider) - 1
    for word in range(words):
        slot = np.int64(codes[word] ^ (codes[word] >> _HASH_FOLD)) & mask
        while wider[slot] >= 0:
            slot = (slot + 1) & mask
        wider[slot] = word
    return wider


@njit(cache=True, nogil=True)
def scan_lines(text: Any) -> tuple[Any, Any, Any, Any, Any, Any]:
    """Turn whole lines of text into columns.

    Parameters
    ----------
    text : ndarray of uint8, shape (B,)
        Ends with the end of a line.

    Returns
    -------
    things : ndarray of int64, shape (K, 5)
        Per line: kind, id, end of its tags in ``tag``, end of its places in ``ref``, where
        the line begins.
    tag : ndarray of int32, shape (T,)
        Which text each tag is.
    ref : ndarray of int64, shape (R,)
        Node ids; a node has one place, its own.
    lat, lon : ndarray of float64, shape (R,)
        Degrees, NaN where the file leaves a place out.
    spots : ndarray of int64, shape (words, 2)
        Where each text of a tag begins and ends.
    """
    size = len(text)
    things = np.empty((size // _LEAST_LINE + 1, 5), np.int64)
    tag = np.empty(size // _LEAST_TAG + 1, np.int32)
    ref = np.empty(size // _LEAST_NODE + 1, np.int64)
    lat = np.empty(size // _LEAST_NODE + 1, np.float64)
    lon = np.empty(size // _LEAST_NODE + 1, np.float64)
    spots = np.empty((size // _LEAST_TAG + 1, 2), np.int64)
    codes = np.empty(size // _LEAST_TAG + 1, np.uint64)
    slots = np.full(_FIRST_SLOTS, -1, np.int32)
    thing = tags = refs = words = at = 0
    while at < size:
        begin, kind = at, text[at]
        number, at = read_whole(text, at + 1)
        if kind != RELATION:
            at += 2
            while text[at] > _BLANK:
                start, code = at, _HASH_START
                while text[at] > _BLANK and text[at] != _COMMA:
                    code = (code ^ np.uint64(text[at])) * _HASH_STEP
                    at += 1
                slot = find_slot(text, start, at, code, slots, codes, spots)
                if slots[slot] < 0:
                    slots[slot] = words
                    spots[words, 0], spots[words, 1], codes[words] = start, at, code
                    words += 1
                    tag[tags] = words - 1
                    if 2 * words > len(slots):
                        slots = widen(slots, codes, words)
                else:
                    tag[tags] = slots[slot]
                tags += 1
                at += text[at] == _COMMA
            at += 2
            if kind == NODE:
                ref[refs] = number
                lon[refs], at = read_degrees(text, at)
                lat[refs], at = read_degrees(text, at + 2)
                refs += 1
            else:
                while text[at] > _BLANK:
                    ref[refs], at = read_whole(text, at + 1)
                    lon[refs], at = read_degrees(text, at + 1)
                    lat[refs], at = read_degrees(text, at + 1)
                    refs += 1
                    at += text[at] == _COMMA
        while text[at] != _LINE_END:
            at += 1
        at += 1
        things[thing, 0], things[thing, 1], things[thing, 2] = kind, number, tags
        things[thing, 3], things[thing, 4] = refs, begin
        thing += 1
    return (
        things[:thing].copy(),
        tag[:tags].copy(),
        ref[:refs].copy(),
        lat[:refs].copy(),
        lon[:refs].copy(),
        spots[:words].copy(),
    )
