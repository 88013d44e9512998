"""How do the screens look? Theme and style, the same inks as on maps and in print.

The strip is the one thing to recognise: a sentence in boxes that point to the right, large
enough for the back of a meeting room, wrapping on a phone.
"""

from __future__ import annotations

from collections.abc import Container
from typing import Final

from capture.papers.look import FAINT_INK, GROUND, INK, RUST, WATER
from siteapp.printing import PRINT_STYLE

#: (light, dark): every ink stands on its ground at 4.5 to 1 or more
GROUNDS: Final = (GROUND, "#161d21")
SHEETS: Final = ("#fffdf8", "#1e272c")
SIDES: Final = ("#ebe5d6", "#222c32")
INKS: Final = (INK, "#efe9dc")
FAINT: Final = (FAINT_INK, "#b6bbb6")
ACCENTS: Final = (RUST, "#f2915f")
LINKS: Final = (WATER, "#6cc3d6")
RULES: Final = ("#cfc6b0", "#46525a")
EDGES: Final = ("#b9b09a", "#5d6a72")

#: part of the theme -> its colour on light and on dark
_COLOURS: Final[dict[str, tuple[str, str]]] = {
    "primaryColor": ACCENTS,
    "backgroundColor": GROUNDS,
    "secondaryBackgroundColor": SIDES,
    "textColor": INKS,
    "linkColor": LINKS,
    "borderColor": EDGES,
}
_SHAPES: Final[dict[str, str]] = {
    "theme.font": "sans-serif",
    "theme.headingFont": "serif",
    "theme.baseRadius": "none",
    "theme.showWidgetBorder": "true",
}


def make_theme(known: Container[str]) -> dict[str, str]:
    """Make the theme's options: light and dark where the toolkit knows both, else light.

    Parameters
    ----------
    known : container of str
        Options that the toolkit has.

    Examples
    --------
    >>> make_theme({"theme.dark.textColor"})["theme.dark.textColor"]
    '#efe9dc'
    >>> make_theme(())["theme.base"]
    'light'
    """
    if "theme.dark.textColor" not in known:
        plain = {f"theme.{name}": pair[0] for name, pair in _COLOURS.items()}
        return {"theme.base": "light", **plain, **_SHAPES}
    light = {f"theme.light.{name}": pair[0] for name, pair in _COLOURS.items()}
    dark = {f"theme.dark.{name}": pair[1] for name, pair in _COLOURS.items()}
    return {**light, **dark, **_SHAPES}


def _both(pair: tuple[str, str]) -> str:
    """Say a colour that follows the theme, for a style sheet."""
    return f"light-dark({pair[0]}, {pair[1]})"


SERIF: Final = '"Source Serif", "Source Serif 4", "Source Serif Pro", Georgia, serif'

STYLE: Final = f"""
<style>
[data-testid="stHeader"] {{ background: transparent; pointer-events: none; }}
[data-testid="stHeader"] button {{ pointer-events: auto; }}
.block-container {{ padding: 2.4rem 1.6rem 3rem !important; max-width: 88rem; }}
h1 {{ font-size: 2rem !important; line-height: 1.2; letter-spacing: -0.01em;
  padding: 0 0 0.5rem !important; }}
.block-container h2, .block-container h3 {{ font-size: 1.25rem !important;
  padding: 0.9rem 0 0.3rem !important; }}
[data-testid="stVerticalBlock"] {{ gap: 0.7rem; }}
.st-key-strip {{ border-top: 3px solid {_both(INKS)}; border-bottom: 1px solid {_both(INKS)};
  gap: 0; background: {_both(SHEETS)}; padding: 0; }}
@media (min-width: 900px) and (min-height: 560px) {{
  [data-testid="stLayoutWrapper"]:has(> .st-key-strip) {{ position: sticky; top: 0; z-index: 90; }}
}}
.st-key-strip [data-testid="stButton"] button {{ border: 0; background: transparent;
  padding: 0.5rem 1.15rem 0.5rem 0.6rem; min-height: 4.2rem; text-align: left; height: 100%;
  justify-content: flex-start; position: relative; border-radius: 0; }}
.st-key-strip [data-testid="stButton"] button::after {{ content: ""; position: absolute;
  right: 0.3rem; top: 50%; width: 0.5rem; height: 0.5rem; border-top: 2px solid {_both(ACCENTS)};
  border-right: 2px solid {_both(ACCENTS)}; transform: translateY(-50%) rotate(45deg); }}
.st-key-strip > div {{ flex: 1 1 auto; }}
.st-key-strip [data-testid="stButton"] button > div {{ justify-content: flex-start; }}
@media (min-width: 1150px) {{ .st-key-strip {{ flex-wrap: nowrap; }} }}
.st-key-strip > div:last-child button::after {{ display: none; }}
.st-key-strip [data-testid="stButton"] button:hover {{ background: {_both(SIDES)};
  color: {_both(INKS)}; }}
.st-key-strip [data-testid="stButton"] button:focus-visible {{ outline: 3px solid {_both(LINKS)};
  outline-offset: -3px; }}
.st-key-strip p {{ font-size: 0.94rem; line-height: 1.25; color: {_both(INKS)}; }}
.st-key-strip strong {{ font-size: 1.5rem; font-family: {SERIF};
  font-weight: 600; letter-spacing: -0.01em; }}
.st-key-strip small, .st-key-strip span {{ color: {_both(FAINT)} !important; }}
.st-key-strip, .st-key-strip * {{ opacity: 1 !important; }}
.where {{ font-size: 0.95rem; letter-spacing: 0.02em; color: {_both(FAINT)}; margin: 0; }}
.say {{ font-family: {SERIF}; font-size: 1.12rem; line-height: 1.5; max-width: 62rem;
  margin: 0.2rem 0 0.4rem; }}
.say b {{ font-weight: 600; }}
.table {{ overflow-x: auto; margin: 0.2rem 0 1rem; }}
.table table {{ border-collapse: collapse; width: 100%; font-size: 0.92rem; line-height: 1.35; }}
.table caption {{ text-align: left; font-weight: 600; padding: 0.3rem 0; color: {_both(INKS)};
  caption-side: top; }}
.table th, .table td {{ border: 0 !important; border-bottom: 1px solid {_both(RULES)} !important;
  padding: 0.3rem 0.9rem 0.3rem 0 !important; text-align: left; vertical-align: top; }}
.table th {{ border-bottom: 2px solid {_both(INKS)} !important; font-weight: 600; }}
.table td:not(.number):last-child {{ min-width: 12rem; }}
.table .number {{ text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }}
.table th.number {{ white-space: normal; }}
.table th {{ vertical-align: bottom !important; }}
.grade {{ border: 1px solid {_both(FAINT)}; padding: 0 0.35rem; font-size: 0.8rem;
  white-space: nowrap; }}
.katex-display {{ padding: 0.35rem 0; overflow-y: hidden; }}
.st-key-ways {{ align-items: center; }}
.cautions {{ border-left: 5px solid {_both(ACCENTS)}; padding: 0.5rem 0.8rem 0.5rem 1.9rem;
  margin: 0.35rem 0; background: {_both(SHEETS)}; }}
.cautions li {{ margin: 0.15rem 0; }}
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] * {{
  color: {_both(FAINT)} !important; opacity: 1 !important; }}
[data-testid="stVegaLiteChart"], .drawn {{ background: {GROUND}; }}
[data-testid="stBaseButton-primary"], [data-testid="stBaseButton-primary"] * {{
  color: light-dark(#ffffff, {GROUNDS[1]}) !important; }}
iframe {{ border: 1px solid {_both(FAINT)}; }}
@media (max-width: 640px) {{
  .table td:not(.number) {{ min-width: 5.5rem; }}
  .table td:not(.number):last-child {{ min-width: 13rem; }}
  .block-container {{ padding-left: 0.8rem; padding-right: 0.8rem; }}
  [data-testid="stLayoutWrapper"]:has(> .st-key-strip) {{ position: sticky; top: 0; z-index: 90; }}
.st-key-strip [data-testid="stButton"] button {{ min-height: 3.4rem; }}
  .st-key-strip strong {{ font-size: 1.3rem; }}
}}
</style>
"""

#: added on dark: pictures keep their hues and change light for dark
_DARK: Final = """
<style>
[role="dialog"], [data-testid="stDialog"], [data-baseweb="popover"] { color-scheme: dark; }
[data-testid="stVegaLiteChart"], .drawn, iframe[title*="folium"] {
  filter: invert(0.92) hue-rotate(180deg); }
</style>
"""


def make_style(*, dark: bool) -> str:
    """Make the screens' style sheet.

    Examples
    --------
    >>> "invert" in make_style(dark=True), "invert" in make_style(dark=False)
    (True, False)
    """
    return STYLE + (_DARK if dark else "") + PRINT_STYLE
