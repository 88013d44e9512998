"""How do layers become a map that opens from a stick, and the same map inside the app?

The map is folium's, with Leaflet and jQuery put into it, so that it asks nothing of any
network. Tiles are an extra that the reader may add. An export is one file whose bytes
depend on nothing but what is shown.

Folium renders its own output again as a template; so the ground is handed over outside of
that step, and everything else consists of numbers and escaped strings.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any, Final

from capture.basis import InputError, UnitSystem, escape_text
from capture.papers.assets import encode_uri, read_asset, read_asset_uri
from capture.papers.background import Background
from capture.papers.marks import MapLayer

MOST_ZOOM: Final = 20
OSM_CREDIT: Final = "Roads and buildings © OpenStreetMap contributors, ODbL 1.0"
#: our own scripts
_OWN: Final = ("drive.js", "sitemap.js")
_TILES_RULE: Final = re.compile(r"https?://[\w.{}/:?=&%@~-]+\Z")


def make_map(
    layers: Sequence[MapLayer],
    *,
    background: Background | None = None,
    centre: tuple[float, float] | None = None,
    zoom: int = 15,
    system: UnitSystem = "us",
    credits: Sequence[str] = (OSM_CREDIT,),
    tiles_url: str | None = None,
    tiles_credit: str = "street tiles",
    drive: dict[str, Any] | None = None,
    memory: str = "map",
    inline: bool = True,
) -> Any:
    """Make a folium map of layers over a background.

    Parameters
    ----------
    layers : sequence of MapLayer
        From the lowest to the uppermost.
    background : Background, optional
        What lies under the layers.
    centre : tuple of (lat, lon), optional
        Where to look, in degrees; without it the whole background is in view.
    zoom : int
        How near, 1-20, when a centre is given.
    system : {"us", "metric"}
        Of the scale bar.
    credits : sequence of str
        Whose data is shown.
    tiles_url : str, optional
        Address of street tiles, with ``{z}``, ``{x}`` and ``{y}``; drawn under the
        background, and missed by nobody when out of reach.
    tiles_credit : str
        Whose tiles they are.
    drive : dict, optional
        What can be driven on the map, from :func:`capture.papers.drive.make_drive`.
    memory : str
        Under which name the reader's browser remembers which layers are on.
    inline : bool
        Whether scripts stand in the map as ``data:`` addresses; when false, placeholders
        stand in their place, for :func:`render_map`.

    Returns
    -------
    folium.Map

    Raises
    ------
    InputError
        When the address of the tiles has another form.
    """
    import folium

    at = centre or _middle(background)
    made = folium.Map(
        location=list(at),
        zoom_start=zoom,
        max_zoom=MOST_ZOOM,
        tiles=None,
        prefer_canvas=True,
        zoom_snap=0.5,
    )
    made.default_js = _scripts(background, inline=inline)
    made.default_css = [("leaflet_css", _address("leaflet.css", inline=inline))]
    if tiles_url:
        _add_tiles(made, check_tiles_url(tiles_url), tiles_credit)
    plan: dict[str, Any] = {
        "layers": [layer.to_page(order, system) for order, layer in enumerate(layers)],
        "system": system,
        "attribution": [escape_text(line) for line in credits],
        "fit": _fit(background) if centre is None else None,
        "memory": escape_text(memory),
        "home": [round(float(at[0]), 6), round(float(at[1]), 6), zoom],
    }
    if drive:
        plan["drive"] = drive
    made.add_child(_plan_element(plan))
    return made


def _plan_element(plan: dict[str, Any]) -> Any:
    from branca.element import MacroElement
    from folium.template import Template

    class Plan(MacroElement):
        """Hands the layers to the map's script."""

        _template = Template(
            "{% macro script(this, kwargs) %}\n"
            "siteMap.draw({{ this._parent.get_name() }}, {{ this.plan }});\n"
            "{% endmacro %}"
        )

        def __init__(self, text: str) -> None:
            super().__init__()  # type: ignore[no-untyped-call]
            self._name = "Plan"
            self.plan = text

    text = json.dumps(plan, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return Plan(
        text.replace("</", "<\\/").replace("{{", "{ {").replace("{%", "{ %").replace("{#", "{ #")
    )


def _address(name: str, *, inline: bool) -> str:
    return read_asset_uri(name) if inline else f"inline:{name}"


def _scripts(background: Background | None, *, inline: bool) -> list[tuple[str, str]]:
    ground = background.script if background else "window.siteGround=null;"
    found = [(name, _address(name, inline=inline)) for name in ("leaflet.js", "jquery.js")]
    found += [(name, _address(name, inline=inline)) for name in _OWN]
    address = encode_uri(ground.encode(), "text/javascript") if inline else "inline:ground.js"
    return [*found, ("ground.js", address)]


def _middle(background: Background | None) -> tuple[float, float]:
    if background is None:
        return 0.0, 0.0
    south, west, north, east = background.bounds
    return (south + north) / 2, (west + east) / 2


def _fit(background: Background | None) -> list[list[float]] | None:
    if background is None:
        return None
    south, west, north, east = background.bounds
    return [[south, west], [north, east]]


def check_tiles_url(tiles_url: str) -> str:
    """Return the address of street tiles when it has the right form.

    Raises
    ------
    InputError
        When it does not start with http, or lacks a field, or holds another.

    Examples
    --------
    >>> check_tiles_url("https://tiles.example/{z}/{x}/{y}.png")
    'https://tiles.example/{z}/{x}/{y}.png'
    """
    fields = set(re.findall(r"\{(\w*)\}", tiles_url))
    plain = re.sub(r"\{\w\}", "", tiles_url)
    good = _TILES_RULE.fullmatch(tiles_url) and {"x", "y", "z"} <= fields <= {"x", "y", "z", "s"}
    if not good or "{" in plain or "}" in plain:
        raise InputError(
            "tiles: the address must start with http and hold {z}, {x} and {y}, got "
            f"{escape_text(tiles_url)}; leave it out to go without tiles"
        )
    return tiles_url


def _add_tiles(made: Any, tiles_url: str, credit: str) -> None:
    import folium

    layer = folium.TileLayer(tiles=tiles_url, attr=escape_text(credit), overlay=True, control=False)
    layer.add_to(made)


def render_map(
    made: Any, *, title: str, lead: str = "", background: Background | None = None
) -> str:
    """Render a map that was made with ``inline=False`` as one page without any request.

    Parameters
    ----------
    made : folium.Map
        From :func:`make_map`.
    title : str
        Of the page.
    lead : str
        What stands over the map beside the title, such as a study's argument.
    background : Background, optional
        The same as the map was made with.

    Returns
    -------
    str
        The page; the same map gives the same text.
    """
    for number, element in enumerate(_walk(made)):
        element._id = f"{number:04d}"
    page: str = made.get_root().render()
    texts = {
        "leaflet.js": read_asset("leaflet.js"),
        "jquery.js": read_asset("jquery.js"),
        **{name: read_asset(name) for name in _OWN},
        "ground.js": background.script if background else "window.siteGround=null;",
    }
    for name, text in texts.items():
        page = _replace_once(
            page, f'<script src="inline:{name}"></script>', f"<script>\n{text}\n</script>"
        )
    css = f"<style>\n{read_asset('leaflet.css')}\n</style>"
    page = _replace_once(page, '<link rel="stylesheet" href="inline:leaflet.css"/>', css)
    return _finish_page(page, title, lead)


def _walk(element: Any) -> list[Any]:
    root = element.get_root()
    found, queue = [], [root]
    while queue:
        item = queue.pop(0)
        found.append(item)
        queue.extend(item._children.values())
    return found


def _replace_once(page: str, old: str, new: str) -> str:
    before, found, after = page.partition(old)
    if not found:
        raise InputError("map: it was made with its scripts inside; make it with inline=False")
    return before + new + after


#: the title over the map, which takes what height is left
_HEADER_STYLE: Final = (
    "<style>body{display:flex;flex-direction:column}"
    "body>header{flex:none;padding:8px 14px;background:#fffef9;color:#1d2a35;"
    "border-bottom:2px solid #1d2a35;font:14px/1.4 sans-serif}"
    "body>header h1{font-size:18px;margin:0}body>header p{margin:2px 0 0}"
    "body>main{flex:1 1 0;min-height:0}</style>"
)


def _finish_page(page: str, title: str, lead: str) -> str:
    page = page.replace("<html>", '<html lang="en">', 1)
    page = re.sub(r'<meta name="viewport".*?/>', "", page, count=1, flags=re.DOTALL)
    head = (
        f"<head>\n<title>{escape_text(title)}</title>\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1.0"/>\n'
        '<link rel="icon" href="data:,"/>'
    )
    page = page.replace("<head>", head, 1)
    told = f"<p>{escape_text(lead, most=600)}</p>" if lead else ""
    header = f"<header><h1>{escape_text(title)}</h1>{told}</header>"
    page = page.replace("</head>", f"{_HEADER_STYLE}\n</head>", 1)
    page = page.replace("<body>", f"<body>\n{header}", 1)
    page = page.replace('<div class="folium-map"', '<main><div class="folium-map"', 1)
    page = re.sub(r'(<div class="folium-map"[^>]*></div>)', r"\1</main>", page, count=1)
    page = page.replace("</style>", "\nmain{height:100%}</style>", 1)
    return "\n".join(line.rstrip() for line in page.splitlines()) + "\n"
