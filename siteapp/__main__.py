"""How is the app started? ``python -m siteapp``; see ``--help``.

Starts the server on this machine only, tells nobody about it, and opens the browser.
"""

from __future__ import annotations

import argparse
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import webbrowser
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from siteapp.look import make_theme

HOST: Final = "localhost"
FIRST_PORT: Final = 8501
READY_WITHIN_S: Final = 60.0
APP: Final = Path(__file__).with_name("main.py")
AREA_VARIABLE: Final = "SITEAPP_AREA"
WORKSPACE_VARIABLE: Final = "SITEAPP_WORKSPACE"


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the command."""
    parser = argparse.ArgumentParser(
        prog="python -m siteapp",
        description="Open the site planner in the browser. Nothing leaves this machine.",
    )
    parser.add_argument(
        "area",
        nargs="?",
        metavar="AREA",
        type=Path,
        help="folder with an area.toml, or a bare roads file; the demo area if left out",
    )
    parser.add_argument(
        "--may-read", type=Path, action="append", default=[], metavar="DIR",
        help="a folder besides AREA that an area.toml may name files of; may be repeated",
    )  # fmt: skip
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser")
    parser.add_argument("--port", type=int, metavar="N", help=f"port ({FIRST_PORT} or next free)")
    parser.add_argument(
        "--exit-after-ready", action="store_true", help="stop once the first page answers"
    )
    parser.add_argument(
        "--workspace", type=Path, metavar="FILE", help="SQLite file in which work is kept"
    )
    return parser


def find_port(wanted: int | None) -> int:
    """Return the wanted port, or the first free one from 8501 on."""
    if wanted is not None:
        return wanted
    for port in range(FIRST_PORT, FIRST_PORT + 100):
        with socket.socket() as trial:
            if trial.connect_ex((HOST, port)) != 0:
                return port
    return FIRST_PORT


def _known_options() -> set[str]:
    """Return the names of the options that the installed toolkit has."""
    from streamlit import config

    return set(config.get_config_options())


def make_command(port: int) -> list[str]:
    """Return the command that runs the server."""
    options = {
        "server.address": HOST,
        "server.port": str(port),
        "server.headless": "true",
        "server.fileWatcherType": "none",
        "server.maxUploadSize": "100",
        "browser.serverAddress": HOST,
        "browser.gatherUsageStats": "false",
        "client.toolbarMode": "viewer",
        "client.showErrorDetails": "none",
        **make_theme(_known_options()),
    }
    words = [sys.executable, "-m", "streamlit", "run", str(APP)]
    for name, value in options.items():
        words += [f"--{name}", value]
    return words


def is_ready(port: int) -> bool:
    """Whether the server answers."""
    try:
        with urllib.request.urlopen(f"http://{HOST}:{port}/_stcore/health", timeout=2) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False


def wait_until_ready(server: subprocess.Popen[bytes], port: int) -> bool:
    """Wait for the server to answer, unless it stops before."""
    until = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < until and server.poll() is None:
        if is_ready(port):
            return True
        time.sleep(0.1)
    return False


def walk_demo() -> bool:
    """Walk the whole chain on the demo area and say its argument; whether that worked.

    The app then opens on the same study, with its roads already read.
    """
    from capture.basis import CaptureError
    from capture.chain import study
    from capture.papers.argument import make_argument, say_argument
    from siteapp.engine import DEMO, DEMO_SITE

    if not DEMO.exists():
        return True
    print("siteapp: walking the chain on the invented demo area", flush=True)
    try:
        made = study(DEMO, DEMO_SITE)
    except CaptureError as error:
        print(f"siteapp: {error}", file=sys.stderr)
        return False
    print(f"siteapp: {made.sites.names[0]}: {say_argument(make_argument(made))}", flush=True)
    return True


def _stop(*_: object) -> None:
    raise KeyboardInterrupt


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the app; returns the exit status."""
    given = build_parser().parse_args(arguments)
    if given.area is not None and not given.area.exists():
        print(f"siteapp: there is no area {given.area}; check the path", file=sys.stderr)
        return 2
    if given.area is None and not walk_demo():
        return 1
    port = find_port(given.port)
    if is_ready(port):
        print(f"siteapp: port {port} is in use; choose another with --port", file=sys.stderr)
        return 2
    environment = dict(os.environ)
    if given.area is not None:
        environment[AREA_VARIABLE] = str(given.area.resolve())
    if given.may_read:
        from capture.area.inside import MAY_READ_VARIABLE

        environment[MAY_READ_VARIABLE] = os.pathsep.join(str(at.resolve()) for at in given.may_read)
    if given.workspace is not None:
        environment[WORKSPACE_VARIABLE] = str(given.workspace.resolve())
    signal.signal(signal.SIGTERM, _stop)
    server = subprocess.Popen(make_command(port), env=environment)  # noqa: S603
    try:
        if not wait_until_ready(server, port):
            print("siteapp: the server did not start; see the lines above", file=sys.stderr)
            return 1
        address = f"http://{HOST}:{port}"
        print(f"siteapp: ready at {address} (Ctrl+C stops it)", flush=True)
        if given.exit_after_ready:
            return 0
        if not given.no_browser:
            webbrowser.open(address)
        return server.wait()
    except KeyboardInterrupt:
        return 0
    finally:
        if server.poll() is None:
            server.terminate()
            try:
                server.wait(timeout=10)
            except subprocess.TimeoutExpired:
                server.kill()


if __name__ == "__main__":
    sys.exit(main())
