"""What has changed since an earlier state of a study, claim by claim?"""

from __future__ import annotations

import pandas as pd
import streamlit as st

from capture.basis import CaptureError
from capture.papers.argument import make_argument
from siteapp import engine
from siteapp.frame import Scene, say
from siteapp.show import show_table
from siteapp.text import as_markdown
from siteapp.workspace import Inputs


def show_change(scene: Scene, before: Inputs) -> None:
    """Show the argument of an earlier state beside today's."""
    if not before.site:
        say("No site had been placed then.")
        return
    try:
        earlier = make_argument(engine.get_brief(before), system=scene.system)
    except CaptureError as error:
        st.warning(as_markdown(error, most=600))
        return
    rows = [
        {
            "words": now.words,
            "then": f"{then.said} ({then.spread})",
            "now": f"{now.said} ({now.spread})",
            "moved": "" if then.said == now.said else "changed",
        }
        for then, now in zip(earlier, scene.claims, strict=True)
    ]
    show_table(
        pd.DataFrame(rows),
        {"words": ("claim", ""), "then": ("then", ""), "now": ("now", ""), "moved": ("", "")},
        scene,
        caption="The argument then and now",
    )
