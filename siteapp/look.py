"""How do the screens look? Theme and style, the same inks as on maps and in print.

The strip is the one thing to recognise: a sentence in boxes that point to the right, large
enough for the back of a meeting room, wrapping on a phone.
"""

from __future__ import annotations

from typing import Final

from capture.papers.look import FAINT_INK, GROUND, INK, RUST, WATER

#: options given to the server at its start
THEME: Final[dict[str, str]] = {
    "theme.base": "light",
    "theme.primaryColor": RUST,
    "theme.backgroundColor": GROUND,
    "theme.secondaryBackgroundColor": "#ebe5d6",
    "theme.textColor": INK,
    "theme.linkColor": WATER,
    "theme.borderColor": "#b9b09a",
    "theme.font": "sans-serif",
    "theme.headingFont": "serif",
    "theme.baseRadius": "none",
    "theme.showWidgetBorder": "true",
}

SERIF: Final = '"Source Serif", "Source Serif 4", "Source Serif Pro", Georgia, serif'

STYLE: Final = f"""
<style>
.block-container {{ padding: 2.4rem 1.6rem 3rem !important; max-width: 88rem; }}
h1 {{ font-size: 2rem !important; line-height: 1.2; letter-spacing: -0.01em;
  padding: 0 0 0.5rem !important; }}
h2, h3 {{ font-size: 1.25rem !important; padding: 0.9rem 0 0.3rem !important; }}
[data-testid="stVerticalBlock"] {{ gap: 0.7rem; }}
.st-key-strip {{ border-top: 3px solid {INK}; border-bottom: 1px solid {INK}; gap: 0;
  background: #fffdf8; padding: 0; }}
@media (min-width: 900px) and (min-height: 560px) {{
  [data-testid="stLayoutWrapper"]:has(> .st-key-strip) {{ position: sticky; top: 0; z-index: 90; }}
}}
.st-key-strip [data-testid="stButton"] button {{ border: 0; background: transparent;
  padding: 0.5rem 1.15rem 0.5rem 0.6rem; min-height: 4.2rem; text-align: left; height: 100%;
  justify-content: flex-start; position: relative; border-radius: 0; }}
.st-key-strip [data-testid="stButton"] button::after {{ content: ""; position: absolute;
  right: 0.3rem; top: 50%; width: 0.5rem; height: 0.5rem; border-top: 2px solid {RUST};
  border-right: 2px solid {RUST}; transform: translateY(-50%) rotate(45deg); }}
.st-key-strip > div {{ flex: 1 1 auto; }}
.st-key-strip [data-testid="stButton"] button > div {{ justify-content: flex-start; }}
@media (min-width: 1150px) {{ .st-key-strip {{ flex-wrap: nowrap; }} }}
.st-key-strip > div:last-child button::after {{ display: none; }}
.st-key-strip [data-testid="stButton"] button:hover {{ background: #f0eadb; color: {INK}; }}
.st-key-strip [data-testid="stButton"] button:focus-visible {{ outline: 3px solid {WATER};
  outline-offset: -3px; }}
.st-key-strip p {{ font-size: 0.94rem; line-height: 1.25; color: {INK}; }}
.st-key-strip strong {{ font-size: 1.5rem; font-family: {SERIF};
  font-weight: 600; letter-spacing: -0.01em; }}
.st-key-strip small, .st-key-strip span {{ color: {FAINT_INK} !important; }}
.st-key-strip, .st-key-strip * {{ opacity: 1 !important; }}
.where {{ font-size: 0.95rem; letter-spacing: 0.02em; color: {FAINT_INK}; margin: 0; }}
.say {{ font-family: {SERIF}; font-size: 1.12rem; line-height: 1.5; max-width: 62rem;
  margin: 0.2rem 0 0.4rem; }}
.say b {{ font-weight: 600; }}
.table {{ overflow-x: auto; margin: 0.2rem 0 1rem; }}
.table table {{ border-collapse: collapse; width: 100%; font-size: 0.92rem; line-height: 1.35; }}
.table caption {{ text-align: left; font-weight: 600; padding: 0.3rem 0; color: {INK};
  caption-side: top; }}
.table th, .table td {{ border: 0 !important; border-bottom: 1px solid #cfc6b0 !important;
  padding: 0.3rem 0.9rem 0.3rem 0 !important; text-align: left; vertical-align: top; }}
.table th {{ border-bottom: 2px solid {INK} !important; font-weight: 600; }}
.table td:not(.number):last-child {{ min-width: 12rem; }}
.table .number {{ text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }}
.table th.number {{ white-space: normal; vertical-align: bottom; }}
.grade {{ border: 1px solid {FAINT_INK}; padding: 0 0.35rem; font-size: 0.8rem;
  white-space: nowrap; }}
.cautions {{ border-left: 5px solid {RUST}; padding: 0.5rem 0.8rem 0.5rem 1.9rem; margin: 0.35rem 0;
  background: #fffdf8; }}
.cautions li {{ margin: 0.15rem 0; }}
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] * {{
  color: {FAINT_INK} !important; opacity: 1 !important; }}
iframe {{ border: 1px solid {FAINT_INK}; }}
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
