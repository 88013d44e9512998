"""How is something that takes long done beside the screen, with progress and a way to stop it?

A job runs in a thread of its own and touches no screen; it says what it is doing and is told
there when it is to stop. The screen looks in on it twice a second. What a stopped job still
brings is thrown away.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any, Final

import streamlit as st

from capture.basis import CaptureError
from siteapp.text import as_markdown

LOOK_EVERY_S: Final = 0.5


class StoppedError(Exception):
    """Raised inside a job that was told to stop."""


class Job:
    """Something done beside the screen.

    Parameters
    ----------
    work : callable
        Gets the job, and returns what is asked for.
    """

    def __init__(self, work: Callable[[Job], Any]) -> None:
        self.said = "starting"
        self.share: float | None = None
        self.result: Any = None
        self.fault = ""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(work,), daemon=True)
        self._thread.start()

    def _run(self, work: Callable[[Job], Any]) -> None:
        try:
            self.result = work(self)
        except StoppedError:
            self.fault = "stopped"
        except CaptureError as error:
            self.fault = str(error)
        except Exception:  # a thread has nobody else to tell
            self.fault = "this could not be finished; try again, or give the data as a file"
            raise

    @property
    def is_running(self) -> bool:
        """Whether it is still at work."""
        return self._thread.is_alive()

    @property
    def is_stopped(self) -> bool:
        """Whether it was told to stop."""
        return self._stop.is_set()

    def say(self, text: str, share: float | None = None) -> None:
        """Say from inside the job what it does; ends it when it was told to stop."""
        if self._stop.is_set():
            raise StoppedError
        self.said, self.share = text, share

    def wait(self, seconds: float) -> None:
        """Wait inside the job, no longer than until it is told to stop."""
        if self._stop.wait(seconds):
            raise StoppedError

    def stop(self) -> None:
        """Tell it to stop; it does at its next word."""
        self._stop.set()


def _name(key: str) -> str:
    return f"job-{key}"


def start_job(key: str, work: Callable[[Job], Any]) -> None:
    """Begin a job that is known to this visitor by a key; an earlier one is told to stop."""
    earlier = st.session_state.get(_name(key))
    if earlier is not None:
        earlier.stop()
    st.session_state[_name(key)] = Job(work)


def show_job(key: str, title: str) -> Any:
    """Show a job while it runs; returns what it brought, once, and None before and after."""
    job = st.session_state.get(_name(key))
    if job is None:
        return None
    if job.is_running and not job.is_stopped:
        _watch(key, title)
        return None
    del st.session_state[_name(key)]
    if job.is_stopped:
        st.info("Stopped; nothing was changed.", icon=":material/cancel:")
    elif job.fault:
        st.error(as_markdown(job.fault, most=800), icon=":material/error:")
    else:
        return job.result
    return None


def is_at_work(key: str) -> bool:
    """Whether a job of this visitor's is running."""
    job = st.session_state.get(_name(key))
    return job is not None and job.is_running and not job.is_stopped


@st.fragment(run_every=LOOK_EVERY_S)
def _watch(key: str, title: str) -> None:
    job = st.session_state.get(_name(key))
    if job is None or not job.is_running:
        st.rerun()
    said = as_markdown(f"{title}: {job.said}", most=300)
    if job.share is None:
        st.markdown(said)
    else:
        st.progress(min(max(job.share, 0.0), 1.0), text=said)
    if st.button("Cancel", key=f"cancel-{key}", icon=":material/cancel:"):
        job.stop()
        st.rerun()
