"""How is a web service asked without waiting for ever or reading without bound?

Only http and https addresses are asked; answers are bounded in size; what may pass, such as
a busy server, is tried again with growing waits.
"""

from __future__ import annotations

import json
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from capture.basis import DataError, InputError, plain_text

if TYPE_CHECKING:
    pass


MOST_ROWS: Final = 500_000


MOST_PAGE_BYTES: Final = 60_000_000


#: answers that are worth asking for again
PASSING_CODES: Final = frozenset({408, 429, 498, 500, 502, 503, 504})


@dataclass(frozen=True, slots=True, kw_only=True)
class Client:
    """How a service is asked: waits, tries, bounds."""

    #: seconds until one answer is given up
    timeout_s: float = 30.0
    #: how often one question is put in all
    tries: int = 4
    #: wait before the second try, doubled each time, seconds
    wait_s: float = 1.0
    #: longest wait that a server may ask for, seconds
    most_wait_s: float = 60.0
    #: most rows in all
    most_rows: int = MOST_ROWS
    #: sleeps; replaced in tests
    sleep: Callable[[float], None] = field(default=time.sleep)

    def ask(self, url: str, query: Mapping[str, str]) -> dict[str, Any]:
        """Put one question and return its JSON object, trying again where that may help.

        Raises
        ------
        DataError
            When the server refuses, answers with something else, or does not answer.
        """
        reason = "no answer"
        for attempt in range(self.tries):
            answer, reason, wait = self._once(url, query)
            if answer is not None:
                return answer
            if wait is None:
                break
            if attempt + 1 < self.tries:
                self.sleep(min(max(wait, self.wait_s * 2**attempt), self.most_wait_s))
        raise DataError(
            f"{host_of(url)}: the feature service did not answer as one ({reason}); check the "
            "address or try later"
        )

    def _once(
        self, url: str, query: Mapping[str, str]
    ) -> tuple[dict[str, Any] | None, str, float | None]:
        """Return the answer, or why not and how long to wait; None to give up."""
        full = f"{url}?{urllib.parse.urlencode(query)}"
        request = urllib.request.Request(full, headers={"Accept": "application/json"})  # noqa: S310
        try:
            with urllib.request.urlopen(request, timeout=self.timeout_s) as opened:  # noqa: S310
                raw = opened.read(MOST_PAGE_BYTES + 1)
        except urllib.error.HTTPError as error:
            wait = _retry_after(error.headers.get("Retry-After"))
            return None, f"HTTP {error.code}", wait if error.code in PASSING_CODES else None
        except (urllib.error.URLError, TimeoutError, ConnectionError, OSError) as error:
            return None, plain_text(getattr(error, "reason", error), most=80), 0.0
        if len(raw) > MOST_PAGE_BYTES:
            return None, f"an answer over {MOST_PAGE_BYTES // 1_000_000} MB", None
        try:
            held = json.loads(raw)
        except (ValueError, RecursionError):
            return None, "an answer that is not JSON", 0.0
        if not isinstance(held, dict):
            return None, "an answer that is not a JSON object", None
        if "error" in held and "features" not in held:
            return None, *_service_error(held["error"])
        return held, "", None


def _retry_after(text: str | None) -> float:
    try:
        return max(float(text or 0), 0.0)
    except ValueError:
        return 0.0


def _service_error(error: Any) -> tuple[str, float | None]:
    code = error.get("code") if isinstance(error, dict) else None
    said = error.get("message", "") if isinstance(error, dict) else error
    passing = isinstance(code, int) and code in PASSING_CODES
    return f"error {code}: {plain_text(said, most=100)}", 0.0 if passing else None


def host_of(url: str) -> str:
    """Return the host of an address, for messages."""
    return plain_text(urllib.parse.urlsplit(url).netloc or url, most=80)


def check_url(url: str) -> str:
    """Return an address without query, or refuse what is not of the web."""
    parts = urllib.parse.urlsplit(url.strip())
    if parts.scheme not in ("http", "https") or not parts.netloc:
        raise InputError(
            f"feature service address must start with http:// or https://, got "
            f"{plain_text(url, most=80)!r}; copy it from the publisher's page"
        )
    path = parts.path.rstrip("/").removesuffix("/query")
    return urllib.parse.urlunsplit((parts.scheme, parts.netloc, path, "", ""))
