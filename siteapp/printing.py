"""How does a screen look on paper? The strip, the map, tables and cautions, nothing to press.

A style sheet for printing only. Assumes the toolkit's page, whose parts scroll on their own
and would print as one cut-off sheet.
"""

from __future__ import annotations

from typing import Final

PRINT_STYLE: Final = """
<style>
@media print {
  @page { margin: 12mm; }
  html, body, #root, .stApp, [data-testid="stAppViewContainer"], [data-testid="stMain"],
  [data-testid="stMainBlockContainer"] { position: static !important; height: auto !important;
    overflow: visible !important; display: block !important; }
  html, body, #root, .stApp, [data-testid="stMain"], .block-container {
    background: #fff !important; color-scheme: light; }
  .block-container { padding: 0 !important; max-width: none !important; }
  [data-testid="stSidebar"], [data-testid="stHeader"], [data-testid="stToolbar"],
  [data-testid="stStatusWidget"], [data-testid="stBaseButton-secondary"]:not(.st-key-strip *),
  [data-testid="stBaseButton-primary"], [data-testid="stDownloadButton"],
  [data-testid="stFileUploader"], [data-testid="stForm"], [data-testid="stDataFrame"],
  [data-testid="stSelectbox"], [data-testid="stRadio"], [data-testid="stNumberInput"],
  [data-testid="stTextInput"], [data-testid="stSlider"], [data-testid="stSelectSlider"],
  [data-testid="stCheckbox"], [data-testid="stExpander"] details:not([open]),
  .st-key-ways { display: none !important; }
  [data-testid="stLayoutWrapper"]:has(> .st-key-strip) { position: static !important; }
  .st-key-strip { flex-wrap: wrap !important; }
  .st-key-strip [data-testid="stButton"] button { min-height: 0 !important;
    padding: 1mm 5mm 1mm 1mm !important; }
  .st-key-strip strong { font-size: 1.1rem !important; }
  [data-testid="stHorizontalBlock"]:not(.st-key-strip) { display: block !important; }
  [data-testid="stHorizontalBlock"]:not(.st-key-strip) > div { width: 100% !important; }
  iframe { border: 1px solid #55636b; break-inside: avoid; width: 100% !important; }
  .table { overflow: visible !important; }
  .table tr, figure, .cautions, [data-testid="stVegaLiteChart"] { break-inside: avoid; }
  .table thead { display: table-header-group; }
  h1, h2, h3, .table caption { break-after: avoid; }
}
</style>
"""
