"""What does the line look like, to scale, from the side and from above?

One strip: the story along the line (soil softened, rubbed, cut, rinsed, dried), the side
view, distances and seconds from entry, the plan, and a numbered list of stations. Made of
text alone, always the same for the same line; every name is escaped.
"""

from __future__ import annotations

import math
from typing import Final

from capture.basis import InputError, Sheet, UnitSystem, convert_out, escape_text, plain_text
from capture.line.line import Line, PlacedStation
from capture.line.marks import (
    ARCH_HEIGHT_M,
    CLOTH,
    FAINT,
    GROUND,
    INK,
    LANE_WIDTH_M,
    Pen,
    draw_car,
    draw_station,
)
from capture.line.values import VALUES

_WIDTH: Final = 1200.0
_MARGIN: Final = 46.0
_COLUMNS: Final = 2
_ROW: Final = 21
#: what the list's figures are, and where each ends within its half, pixels
_HEADINGS: Final = ("length", "from", "power", "water")
_RIGHT_EDGES: Final = (338.0, 390.0, 455.0, 528.0)
#: role -> step of the story; soil that is left after it
_STEPS: Final[dict[str, tuple[str, float]]] = {
    "load": ("in", 1.0), "manual_prep": ("by hand", 0.9), "plain_rinse": ("wet", 0.95),
    "insect": ("soften", 0.9), "wheel": ("soften", 0.9), "alkaline": ("soften", 0.8),
    "lubricant": ("soften", 0.75), "friction": ("rub", 0.3), "high_pressure": ("cut", 0.15),
    "underbody": ("cut", 0.15), "conditioner": ("polish", 0.05), "rinse": ("rinse, seal", 0.0),
    "sealant": ("rinse, seal", 0.0), "spot_free": ("rinse, seal", 0.0), "dryer": ("dry", 0.0),
    "dressing": ("dry", 0.0), "exit": ("out", 0.0),
}  # fmt: skip
_LONGER: Final = {
    "soften": "soil is softened and lifted",
    "rub": "soil is rubbed off",
    "cut": "and cut away",
    "polish": "polished",
    "rinse, seal": "film is rinsed and sealed",
    "dry": "water is blown off",
}
_SHADES: Final = ("#e6dfcf", "#d8e2e0")
_FONT: Final = 'font-family="Verdana, DejaVu Sans, sans-serif"'


def render_line(
    line: Line, *, units: UnitSystem = "us", listing: bool = True, values: Sheet = VALUES
) -> str:
    """Draw one line of a sized line as SVG.

    Parameters
    ----------
    line : Line
        With stations; bays have none to draw.
    units : {"us", "metric"}
        What distances, power and water are written in.
    listing : bool
        Whether the numbered list of stations stands below.
    values : Sheet
        Gives the length of a car.

    Returns
    -------
    str
        An SVG document, 1,200 units wide.

    Raises
    ------
    InputError
        For bays.

    Examples
    --------
    >>> from capture.basis import Offer
    >>> from capture.line import size_line
    >>> render_line(size_line(98.0, Offer())).startswith("<svg ")
    True
    """
    if not line.stations:
        raise InputError(f"drawing: a {line.format} has no line to draw; draw conveyors only")
    scale = (_WIDTH - 2 * _MARGIN) / line.length_m
    floor = 130 + (ARCH_HEIGHT_M + 0.3) * scale
    middle = floor + 74 + LANE_WIDTH_M / 2 * scale
    pen = Pen(scale=scale, left=_MARGIN, floor=floor, middle=middle)
    list_top = middle + LANE_WIDTH_M / 2 * scale + 44
    rows = math.ceil(len(line.stations) / _COLUMNS)
    height = list_top + (rows + 1) * _ROW + 28 if listing else list_top
    says = _headline(line, units)
    body = (
        _story(line, pen),
        _stage(line, pen),
        "".join(_cars(line, pen, values)),
        "".join(draw_station(one, pen) for one in line.stations),
        _rulers(line, pen, units),
        _numbers(line, pen),
        _listing(line, units, list_top) if listing else "",
        _text(_MARGIN, height - 10, "Drawn to scale from planning figures (common practice, no "
              "source); not a construction drawing.", size=11, ink=FAINT),
    )  # fmt: skip
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {height:.0f}" '
        f'role="img" {_FONT}><title>{escape_text(says)}</title>{_patterns()}'
        f'<rect width="100%" height="100%" fill="{GROUND}"/>'
        f"{_text(_MARGIN, 34, says, size=19, weight='bold')}{''.join(body)}</svg>\n"
    )


def _said(amount: float, unit: str, units: UnitSystem, digits: int = 0) -> str:
    number, label = convert_out(amount, unit, units)
    return f"{number:,.{digits}f} {label}"


def _headline(line: Line, units: UnitSystem) -> str:
    each = line.cars_per_hour / line.lines
    many = f"{line.lines} lines like this: " if line.lines > 1 else ""
    return (
        f"{many}{_said(line.length_m, 'm', units)} at "
        f"{_said(line.chain_speed_mps, 'chain_mps', units, 0 if units == 'us' else 1)}, "
        f"{each:.0f} cars an hour, {line.line_s:.0f} s from entry to exit"
    )


def _text(
    x: float, y: float, words: str, *, size: float = 12, ink: str = INK, weight: str = "normal",
    anchor: str = "start",
) -> str:  # fmt: skip
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" fill="{ink}" '
        f'font-weight="{weight}" text-anchor="{anchor}">{escape_text(words)}</text>'
    )


def _patterns() -> str:
    return (
        '<defs><pattern id="cloth" width="6" height="6" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(20)"><rect width="6" height="6" fill="{GROUND}"/>'
        f'<line x1="0" y1="0" x2="0" y2="6" stroke="{CLOTH}" stroke-width="2.4"/></pattern></defs>'
    )


def _story(line: Line, pen: Pen) -> str:
    """Bands over the line that tell what happens to the soil."""
    bands: list[tuple[str, float, float]] = []
    for one in line.stations:
        if one.is_over_another:
            continue
        step, start = _STEPS.get(one.role, (one.role, 0.5))[0], one.start_m
        if bands and bands[-1][0] == step:
            start = bands.pop()[1]
        bands.append((step, start, one.start_m + one.length_m))
    parts = []
    for k, (step, start, end) in enumerate(bands):
        parts.append(pen.box(start, 52, end - start, 26, f'fill="{_SHADES[k % 2]}"'))
        room = (end - start) * pen.scale / 7.0
        words = next((said for said in (_LONGER.get(step, step), step) if len(said) <= room), "")
        if words:
            middle = pen.x((start + end) / 2)
            parts.append(_text(middle, 69.5, words, size=12, anchor="middle"))
    return "".join(parts)


def _stage(line: Line, pen: Pen) -> str:
    """Floor and chain of the side view, edges of the plan's lane."""
    half = LANE_WIDTH_M / 2 * pen.scale
    height = LANE_WIDTH_M * pen.scale
    return (
        pen.box(0, pen.middle - half, line.length_m, height, 'fill="#ece7da"')
        + pen.line(0, pen.floor, line.length_m, pen.floor, f'stroke="{INK}" stroke-width="2"')
        + pen.line(
            0, pen.floor + 5, line.length_m, pen.floor + 5,
            f'stroke="{INK}" stroke-width="4" stroke-dasharray="2 5"',
        )
        + "".join(
            pen.line(0, pen.middle + side, line.length_m, pen.middle + side,
                     f'stroke="{INK}" stroke-width="1.5"')
            for side in (-half, half)
        )
    )  # fmt: skip


def _cars(line: Line, pen: Pen, values: Sheet) -> list[str]:
    """Cars on a full chain, each as dirty as its middle is far along."""
    length = values.value("car_length_m")
    cars = []
    nose = length + 0.3
    while nose < line.length_m - 0.2:
        cars.append(draw_car(nose, length, _dirt(line, nose - length / 2), pen))
        nose += line.pitch_m
    return cars


def _dirt(line: Line, at_m: float) -> float:
    """Return how much soil is left at a place: falls evenly within each station's zone."""
    left = 1.0
    for one in line.stations:
        if one.is_over_another or one.start_m > at_m:
            continue
        after = min(left, _STEPS.get(one.role, ("", left))[1])
        share = min(1.0, (at_m - one.start_m) / max(one.length_m, 1e-9))
        left += (after - left) * share
    return left


def _rulers(line: Line, pen: Pen, units: UnitSystem) -> str:
    """Distances and seconds from entry, between the two views."""
    step_m = 10 * 0.3048 if units == "us" else 5.0
    parts = []
    for k in range(int(line.length_m / step_m) + 1):
        x = k * step_m
        parts.append(pen.line(x, pen.floor + 16, x, pen.floor + 22, f'stroke="{INK}"'))
        number, label = convert_out(x, "m", units)
        words = f"{number:.0f} {label}" if k == 0 else f"{number:.0f}"
        parts.append(_text(pen.x(x), pen.floor + 35, words, size=11, anchor="middle"))
    for second in range(0, int(line.line_s) + 1, 15):
        x = second * line.chain_speed_mps
        parts.append(pen.dot(x, pen.floor + 45, 2, f'fill="{FAINT}"'))
        words = f"{second} s"
        parts.append(_text(pen.x(x), pen.floor + 60, words, size=11, ink=FAINT, anchor="middle"))
    return "".join(parts)


def _numbers(line: Line, pen: Pen) -> str:
    """A number over each station; those that hang over another one sit a row higher."""
    parts = []
    last = [-1e9, -1e9]
    for k, one in enumerate(line.stations, start=1):
        row = 1 if one.is_over_another else 0
        x = max(pen.x(one.start_m) + 10, last[row] + 21)
        last[row] = x
        y = 100.0 if row else 122.0
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y - 4:.1f}" r="9" fill="{GROUND}" stroke="{INK}"/>'
        )
        parts.append(_text(x, y, str(k), size=11, anchor="middle"))
    return "".join(parts)


def _listing(line: Line, units: UnitSystem, top: float) -> str:
    """A table of stations in two halves, each number under its heading."""
    width = (_WIDTH - 2 * _MARGIN) / _COLUMNS
    rows = math.ceil(len(line.stations) / _COLUMNS)
    parts = []
    for half in range(_COLUMNS):
        for words, right in zip(_HEADINGS, _RIGHT_EDGES, strict=True):
            x = _MARGIN + half * width + right
            parts.append(_text(x, top, words, size=11, ink=FAINT, anchor="end"))
    for k, one in enumerate(line.stations):
        x, y = _MARGIN + (k // rows) * width, top + (k % rows + 1) * _ROW
        count = f" x{one.count}" if one.count > 1 else ""
        parts.append(_text(x + 16, y, f"{k + 1}", size=12, weight="bold", anchor="end"))
        parts.append(_text(x + 24, y, plain_text(one.name, most=40) + count, size=12))
        for words, right in zip(_figures(one, units), _RIGHT_EDGES, strict=True):
            parts.append(_text(x + right, y, words, size=12, anchor="end"))
    return "".join(parts)


def _figures(one: PlacedStation, units: UnitSystem) -> tuple[str, str, str, str]:
    return (
        "shared" if one.is_over_another else _said(one.length_m, "m", units, 1),
        f"{one.enters_s:.0f} s",
        _said(one.power_w, "w", units, 1) if one.power_w > 0 else "",
        _said(one.flow_m3s, "m3s", units, 1 if units == "us" else 0) if one.flow_m3s > 0 else "",
    )
