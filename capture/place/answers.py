"""How is an answer of a map server taken in without end in size, time or patience?

OSMnx reads whatever comes, waits for a busy server as often as it is told to, and goes where
it is sent. Each answer passes here first. Who listens may end a download at every answer.
"""

from __future__ import annotations

import time
import urllib.parse
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Lock
from typing import Any, Final

from capture.basis import DataError, plain_text

#: told in a few words what is being done; what it raises ends the download
Say = Callable[[str], None]
MOST_BYTES: Final = 300_000_000
#: seconds that one answer may take in all
WHOLE_S: Final = 300.0
#: how often a server may say that it is busy before it is given up
MOST_BUSY: Final = 3
_BUSY: Final = (429, 504)
_CHUNK: Final = 1 << 16
_FILE_INSTEAD: Final = "name an .osm.pbf extract as the roads file instead"


class Ear:
    """Hears each answer of a download before it is read.

    Parameters
    ----------
    say : callable
        Who listens.
    """

    def __init__(self, say: Say) -> None:
        self._say = say
        self._busy = 0
        #: what who listens raised to end the download
        self.ended: BaseException | None = None

    def say(self, text: str) -> None:
        """Pass on what is being done."""
        try:
            self._say(text)
        except BaseException as error:
            self.ended = error
            raise

    def hear(self, response: Any, *_: Any, **__: Any) -> Any:
        """Take one answer in, bounded; a hook of requests.

        Raises
        ------
        DataError
            When it is too large or too slow, or the server is busy or sends elsewhere.
        """
        self.say("an answer comes")
        host = urllib.parse.urlsplit(response.url).hostname or ""
        if response.status_code in _BUSY:
            self._busy += 1
            if self._busy >= MOST_BUSY:
                raise DataError(f"roads: {host} is busy; try again later, or {_FILE_INSTEAD}")
        if response.is_redirect:
            _refuse_elsewhere(response, host)
        held = bytearray()
        until = time.monotonic() + WHOLE_S
        for chunk in _read_chunks(response):
            held += chunk
            if len(held) > MOST_BYTES:
                raise DataError(
                    f"roads: {host} sends over {MOST_BYTES // 1_000_000} MB; take a smaller box, "
                    f"or {_FILE_INSTEAD}"
                )
            if time.monotonic() > until:
                raise DataError(
                    f"roads: {host} answers too slowly; try again later, or {_FILE_INSTEAD}"
                )
        response._content, response._content_consumed = bytes(held), True
        return response


def _refuse_elsewhere(response: Any, host: str) -> None:
    there = urllib.parse.urlsplit(urllib.parse.urljoin(response.url, response.headers["location"]))
    if there.hostname != host:
        raise DataError(
            f"roads: {plain_text(host, most=60)} sends on to "
            f"{plain_text(there.hostname or there.scheme, most=60)}; give that address as the "
            "server if you trust it"
        )


def _read_chunks(response: Any) -> Iterator[bytes]:
    """Yield what has come so far, also of an answer that comes in drops."""
    read = getattr(response.raw, "read1", None)
    if read is None:
        yield from response.iter_content(1024)
        return
    while chunk := read(_CHUNK, decode_content=True):
        yield chunk


@contextmanager
def take_turn(turn: Lock, say: Say) -> Iterator[None]:
    """Hold a lock; while it is another's, who listens may end the wait."""
    while not turn.acquire(timeout=0.5):
        say("waiting for another download to end")
    try:
        yield
    finally:
        turn.release()
