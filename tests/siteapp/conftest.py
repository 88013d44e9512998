"""One running app with a fresh workspace, for tests in a real browser."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from siteapp.__main__ import is_ready

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"


def find_free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("localhost", 0))
        return int(trial.getsockname()[1])


class App:
    """A running app."""

    def __init__(self, folder: Path, area: Path = DEMO) -> None:
        self.workspace = folder / "work.sqlite"
        self.area = area
        self.port = find_free_port()
        self.log = folder / "app.log"
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"http://localhost:{self.port}/"

    def start(self) -> None:
        command = [sys.executable, "-m", "siteapp", str(self.area), "--no-browser"]
        command += ["--port", str(self.port), "--workspace", str(self.workspace)]
        environment = {**os.environ, "HTTP_PROXY": "http://localhost:1", "NO_PROXY": "localhost"}
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                command, stdout=log, stderr=log, env=environment, start_new_session=True
            )
        until = time.monotonic() + 60
        while not is_ready(self.port):
            assert self._process.poll() is None, self.log.read_text()
            assert time.monotonic() < until, self.log.read_text()
            time.sleep(0.1)

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(timeout=20)
            self._process = None

    def kill(self) -> None:
        """End the app and its server without a chance to tidy up."""
        if self._process is not None:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait(timeout=20)
            self._process = None
            until = time.monotonic() + 20
            while is_ready(self.port) and time.monotonic() < until:
                time.sleep(0.1)


@pytest.fixture
def make_app(tmp_path: Path) -> Iterator[Callable[..., App]]:
    made = []

    def make(area: Path = DEMO) -> App:
        running = App(tmp_path, area)
        running.start()
        made.append(running)
        return running

    yield make
    for running in made:
        running.stop()


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[App]:
    running = App(tmp_path_factory.mktemp("app"))
    running.start()
    yield running
    running.stop()
