"""How soon does a changed input show on the strip in a real browser, and all of the screen?

``python tests/benchmarks/bench_browser.py``: medians of 20 changes on the demo area, no value
typed twice (10 of the opening hour), from the key that ends the input to the strip's new text
and to the last change of the screen. The peer in the same run is an empty app of the same
toolkit with one input and one line of text: what no app made with it can undercut.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import textwrap
import time
from pathlib import Path
from statistics import median
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "siteapp"))
from conftest import DEMO, App, find_free_port

from siteapp.__main__ import is_ready
from siteapp.workspace import Inputs, Workspace

TIMES = 20
#: screen -> (label of the input, values typed in turn)
CHANGES = {
    "money": ("Price of a single wash, $", [9 + 0.5 * k for k in range(TIMES + 2)]),
    "line": ("Headroom over the design hour, %", [10.0 + 37 * k % 90 for k in range(TIMES + 2)]),
    "busy": ("Opens at, hour", list(range(12))),
}
EMPTY = """
    import streamlit as st
    with st.container(key="strip"):
        value = st.session_state.get("a", 0.0)
        st.button(f"It is {value}")
    st.number_input("Amount", key="a")
"""
#: stamps the key that ends an input, the strip's next change and the page's last one
WATCH = """
() => {
  window.stamps = {};
  document.addEventListener('keydown', event => {
    if (event.key === 'Enter') {
      const strip = document.querySelector('.st-key-strip');
      window.stamps = {start: performance.now(), before: strip.innerText};
    }
  }, true);
  new MutationObserver(() => {
    const strip = document.querySelector('.st-key-strip');
    if (!window.stamps.start) return;
    window.stamps.last = performance.now();
    if (!window.stamps.strip && strip && strip.innerText !== window.stamps.before)
      window.stamps.strip = performance.now();
  }).observe(document.body, {subtree: true, childList: true, characterData: true});
}
"""


def time_changes(page: Any, label: str, values: list[float]) -> tuple[float, float]:
    """Return median milliseconds to the strip's answer and to the screen's last change."""
    page.evaluate(WATCH)
    to_strip, to_last = [], []
    for value in values:
        box = page.get_by_label(label, exact=False).first
        box.fill(f"{value:g}")
        box.press("Enter")
        page.wait_for_function("() => window.stamps.strip", timeout=20_000)
        page.wait_for_timeout(1500)
        stamps = page.evaluate("() => window.stamps")
        to_strip.append(stamps["strip"] - stamps["start"])
        to_last.append(stamps["last"] - stamps["start"])
    return median(to_strip[2:]), median(to_last[2:])


def start_empty(folder: Path) -> tuple[subprocess.Popen[bytes], int]:
    """Start the empty app."""
    file, port = folder / "empty.py", find_free_port()
    file.write_text(textwrap.dedent(EMPTY))
    command = [sys.executable, "-m", "streamlit", "run", str(file), "--server.headless=true"]
    command += [f"--server.port={port}", "--browser.gatherUsageStats=false"]
    process = subprocess.Popen(
        command, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    while not is_ready(port):
        time.sleep(0.1)
    return process, port


def main() -> None:
    """Time both apps in one browser."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as named, sync_playwright() as play:
        folder = Path(named)
        chromium = os.environ.get("CHROMIUM", "/usr/bin/chromium")
        browser = play.chromium.launch(executable_path=chromium)
        empty, port = start_empty(folder)
        ours = App(folder)
        Workspace(ours.workspace).add("Timed", Inputs(area=str(DEMO), site="parcel:P01"))
        ours.start()
        try:
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            page.goto(f"http://localhost:{port}/")
            page.get_by_label("Amount").wait_for()
            least, least_last = time_changes(page, "Amount", [1.0 + k for k in range(TIMES + 2)])
            print(f"empty app: strip {least:.0f} ms, last change {least_last:.0f} ms", flush=True)
            for screen, (label, values) in CHANGES.items():
                page.goto(ours.address + screen)
                page.get_by_label(label, exact=False).first.wait_for(timeout=60_000)
                page.wait_for_timeout(4000)
                strip, last = time_changes(page, label, values)
                print(
                    f"{screen}: strip {strip:.0f} ms ({strip / least:.1f} times the empty app), "
                    f"last change {last:.0f} ms",
                    flush=True,
                )
        finally:
            ours.stop()
            os.killpg(empty.pid, signal.SIGTERM)
            browser.close()


if __name__ == "__main__":
    main()
