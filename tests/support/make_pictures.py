"""Takes the README's pictures of the app: run ``python tests/support/make_pictures.py``.

Starts the app on the invented demo town with a fresh workspace, opens each screen in a real
browser with the network cut off, and writes the pictures. Needs playwright and a chromium.
"""

from __future__ import annotations

import io
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright

from siteapp.__main__ import wait_until_ready

ROOT = Path(__file__).resolve().parents[2]
PICTURES = ROOT / "siteapp" / "pictures"
#: screen -> what must be seen before the picture is taken, and what stands at its top
SCREENS = {"share": "svg", "passing": "iframe", "money": "svg"}
SIZE = {"width": 1280, "height": 900}
SLOW_MS = 120_000


def find_free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("localhost", 0))
        return int(trial.getsockname()[1])


def take(page: Any, address: str, screen: str) -> None:
    """Open a screen, wait until all of it is drawn, and take its picture."""
    page.goto(f"{address}/{screen}")
    page.get_by_role("heading", level=1).wait_for()
    page.locator(f".stMain {SCREENS[screen]}").first.wait_for()
    for _ in range(4):
        page.wait_for_timeout(1500)
        page.locator("[data-test-script-state='notRunning']").first.wait_for()
    taken = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    # a palette is enough for flat colours and takes a third of the room
    taken.quantize(colors=128).save(PICTURES / f"{screen}.png", optimize=True)


def main() -> None:
    """Take all pictures."""
    port = find_free_port()
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "siteapp", "--no-browser", "--port", str(port)]
        command += ["--workspace", str(Path(folder) / "work.sqlite")]
        server = subprocess.Popen(command, cwd=ROOT)
        try:
            assert wait_until_ready(server, port), "the app did not start"
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=chromium, args=["--no-sandbox"]
                )
                page = browser.new_page(viewport=SIZE)
                page.set_default_timeout(SLOW_MS)
                for screen in SCREENS:
                    take(page, f"http://localhost:{port}", screen)
                browser.close()
        finally:
            server.terminate()
            server.wait(timeout=30)
    print(f"wrote {', '.join(f'{screen}.png' for screen in SCREENS)} in {PICTURES.name}")


if __name__ == "__main__":
    main()
