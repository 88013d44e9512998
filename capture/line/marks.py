"""How is each kind of station drawn, from the side and from above?

Marks are plain shapes in metres of the line, turned into SVG at one scale for both axes, so
that lengths and heights can be read off. Nothing is told by colour alone: foam is bubbles,
water is strokes, cloth is hatched, air is a funnel.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from capture.line.line import PlacedStation

GROUND: Final = "#f5f2ea"
INK: Final = "#1f2d36"
FAINT: Final = "#55636b"
STEEL: Final = "#8a949a"
FOAM: Final = "#b4577f"
WATER: Final = "#0b6477"
CLOTH: Final = "#6d3a72"
AIR: Final = "#8a5a12"
SOIL: Final = "#7a5a3a"

#: sizes of what is drawn, m
ARCH_HEIGHT_M: Final = 2.6
CAR_HEIGHT_M: Final = 1.5
CAR_WIDTH_M: Final = 1.85
LANE_WIDTH_M: Final = 3.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """Turns metres into SVG shapes at one scale."""

    #: pixels per metre
    scale: float
    #: pixel of the line's start, of the side view's floor, of the plan's middle
    left: float
    floor: float
    middle: float

    def x(self, metres: float) -> float:
        """Pixel of a position along the line."""
        return self.left + metres * self.scale

    def up(self, metres: float) -> float:
        """Pixel of a height above the floor, side view."""
        return self.floor - metres * self.scale

    def across(self, metres: float) -> float:
        """Pixel of a distance from the lane's middle, plan."""
        return self.middle + metres * self.scale

    def box(self, x: float, y: float, width: float, height: float, style: str) -> str:
        """A rectangle; x and width in metres along, y and height in pixels."""
        return (
            f'<rect x="{self.x(x):.1f}" y="{y:.1f}" width="{width * self.scale:.1f}" '
            f'height="{height:.1f}" {style}/>'
        )

    def line(self, x1: float, y1: float, x2: float, y2: float, style: str) -> str:
        """A stroke; x in metres along, y in pixels."""
        return (
            f'<line x1="{self.x(x1):.1f}" y1="{y1:.1f}" x2="{self.x(x2):.1f}" y2="{y2:.1f}" '
            f"{style}/>"
        )

    def dot(self, x: float, y: float, radius: float, style: str) -> str:
        """A circle; x in metres along, y and radius in pixels."""
        return f'<circle cx="{self.x(x):.1f}" cy="{y:.1f}" r="{radius:.1f}" {style}/>'


def spread(station: PlacedStation) -> list[float]:
    """Return where each arch, applicator or dryer of a station stands, m."""
    if station.spacing_m:
        return [station.start_m + 0.3 + k * station.spacing_m for k in range(station.count)]
    reach = station.length_m or max(station.wetted_m * station.count, 0.6)
    if station.role in ("friction", "dryer"):
        return [station.start_m + (k + 0.5) * reach / station.count for k in range(station.count)]
    step = min(reach / (station.count + 0.5), 1.0)
    return [station.start_m + 0.3 + k * step for k in range(station.count)]


def _stroke(ink: str, width: float = 2.0) -> str:
    return f'stroke="{ink}" stroke-width="{width:g}" fill="none"'


def _arch(ink: str, *, bubbles: bool) -> Callable[[PlacedStation, Pen], str]:
    def draw(station: PlacedStation, pen: Pen) -> str:
        parts = []
        for x in spread(station):
            parts.append(pen.line(x, pen.floor, x, pen.up(ARCH_HEIGHT_M), _stroke(STEEL, 4)))
            for height in (0.5, 0.95, 1.4, 1.85, 2.3):
                if bubbles:
                    parts.append(pen.dot(x + 0.16, pen.up(height), 3.2, _stroke(ink, 1.4)))
                    parts.append(pen.dot(x + 0.3, pen.up(height - 0.2), 2.2, _stroke(ink, 1.2)))
                else:
                    low = pen.up(height - 0.18)
                    parts.append(pen.line(x + 0.06, pen.up(height), x + 0.34, low, _stroke(ink)))
            for side in (-1, 1):
                edge = pen.across(side * LANE_WIDTH_M / 2)
                parts.append(pen.line(x, edge, x, pen.across(side * 1.25), _stroke(ink, 3)))
        return "".join(parts)

    return draw


def _pressure(station: PlacedStation, pen: Pen) -> str:
    parts = []
    for x in spread(station):
        parts.append(pen.line(x, pen.floor, x, pen.up(ARCH_HEIGHT_M), _stroke(STEEL, 6)))
        for height in (0.3, 0.6, 0.9, 1.2):
            for lean in (-0.12, 0.0, 0.12):
                parts.append(
                    pen.line(x, pen.up(height), x + 0.6, pen.up(height + lean), _stroke(WATER, 1.6))
                )
        for side in (-1, 1):
            edge, near = side * LANE_WIDTH_M / 2, side * 1.05
            for lean in (-0.15, 0.0, 0.15):
                parts.append(
                    pen.line(x, pen.across(edge), x + 0.4 + lean, pen.across(near), _stroke(WATER))
                )
    return "".join(parts)


def _underbody(station: PlacedStation, pen: Pen) -> str:
    parts = []
    for x in spread(station):
        for k in range(5):
            parts.append(
                pen.line(x + 0.12 * k, pen.floor, x + 0.12 * k + 0.1, pen.up(0.3), _stroke(WATER))
            )
        parts.append(pen.line(x, pen.across(-0.7), x, pen.across(0.7), _stroke(WATER, 3)))
    return "".join(parts)


def _applicator(ink: str) -> Callable[[PlacedStation, Pen], str]:
    def draw(station: PlacedStation, pen: Pen) -> str:
        parts = []
        for x in spread(station):
            parts.append(pen.box(x, pen.up(0.4), 0.3, 0.4 * pen.scale, f'fill="{ink}"'))
            for side in (-1.35, 1.15):
                parts.append(pen.box(x, pen.across(side), 0.3, 0.2 * pen.scale, f'fill="{ink}"'))
        return "".join(parts)

    return draw


def _cloth(station: PlacedStation, pen: Pen) -> str:
    top = "top" in station.id or "top" in station.name
    each = station.length_m / max(station.count, 1)
    parts = []
    for x in spread(station):
        low, high = (0.95, 2.35) if top else (0.25, 1.75)
        width = 0.72 * each
        style = f'fill="url(#cloth)" stroke="{CLOTH}" stroke-width="1.5" rx="4"'
        parts.append(pen.box(x - width / 2, pen.up(high), width, (high - low) * pen.scale, style))
        if top:
            parts.append(pen.line(x, pen.up(high), x, pen.up(ARCH_HEIGHT_M), _stroke(STEEL, 4)))
            style = f'fill="url(#cloth)" stroke="{CLOTH}" stroke-width="1.2" fill-opacity="0.6"'
            parts.append(pen.box(x - width / 2, pen.across(-0.9), width, 1.8 * pen.scale, style))
        else:
            for side in (-1, 1):
                parts.append(
                    pen.dot(x, pen.across(side * 1.3), 0.38 * pen.scale,
                            f'fill="url(#cloth)" stroke="{CLOTH}" stroke-width="1.5"')
                )  # fmt: skip
    return "".join(parts)


def _dryer(station: PlacedStation, pen: Pen) -> str:
    parts = []
    for k, x in enumerate(spread(station)):
        top, mouth = pen.up(ARCH_HEIGHT_M), pen.up(1.95)
        points = " ".join(
            f"{pen.x(x + dx):.1f},{y:.1f}"
            for dx, y in ((-0.18, top), (0.18, top), (0.08, mouth), (-0.08, mouth))
        )
        parts.append(f'<polygon points="{points}" fill="{AIR}"/>')
        parts.append(
            pen.line(x, mouth + 3, x + 0.12, pen.up(1.6), f'{_stroke(AIR, 1.2)} '
                     'stroke-dasharray="3 3"')
        )  # fmt: skip
        side = (0.0, -1.35, 1.35)[k % 3]
        parts.append(
            pen.box(x - 0.16, pen.across(side) - 0.16 * pen.scale, 0.32, 0.32 * pen.scale,
                    f'fill="{AIR}" rx="2"')
        )  # fmt: skip
    return "".join(parts)


def _load(station: PlacedStation, pen: Pen) -> str:
    parts = []
    for side in (-1, 1):
        parts.append(
            pen.line(0.0, pen.across(side * 1.55), station.length_m * 0.8,
                     pen.across(side * 1.05), _stroke(INK, 4))
        )  # fmt: skip
    for k in range(4):
        parts.append(pen.dot(0.4 + k * 0.45, pen.floor + 5, 3, f'fill="{INK}"'))
    return "".join(parts)


def _none(station: PlacedStation, pen: Pen) -> str:
    return ""


_MARKS: Final[dict[str, Callable[[PlacedStation, Pen], str]]] = {
    "load": _load, "exit": _none, "insect": _arch(FOAM, bubbles=False),
    "wheel": _applicator(FOAM), "alkaline": _arch(FOAM, bubbles=True),
    "lubricant": _arch(FOAM, bubbles=True), "conditioner": _arch(FOAM, bubbles=True),
    "rinse": _arch(WATER, bubbles=False), "plain_rinse": _arch(WATER, bubbles=False),
    "sealant": _arch(FOAM, bubbles=False), "spot_free": _arch(WATER, bubbles=False),
    "friction": _cloth, "high_pressure": _pressure, "underbody": _underbody, "dryer": _dryer,
    "dressing": _applicator(CLOTH), "manual_prep": _applicator(WATER),
}  # fmt: skip


def draw_station(station: PlacedStation, pen: Pen) -> str:
    """Draw a station in both views; a role that is not known gets a plain arch."""
    return _MARKS.get(station.role, _arch(INK, bubbles=False))(station, pen)


def draw_car(nose_m: float, length_m: float, dirt: float, pen: Pen) -> str:
    """Draw a car in both views, with dots of soil that fade along the line.

    Parameters
    ----------
    nose_m : float
        Where its nose is.
    length_m : float
    dirt : float
        1 as it came, 0 clean.
    """
    tail, scale = nose_m - length_m, pen.scale
    outline = (
        (0.0, 0.35), (0.02, 0.75), (0.12, 0.85), (0.28, 1.4), (0.66, 1.45),
        (0.82, 0.95), (0.98, 0.8), (1.0, 0.4),
    )  # fmt: skip
    points = " ".join(
        f"{pen.x(tail + along * length_m):.1f},{pen.up(height):.1f}" for along, height in outline
    )
    body = f'fill="#ffffff" stroke="{INK}" stroke-width="1.4"'
    parts = [f'<polygon points="{points}" {body} stroke-linejoin="round"/>']
    for along in (0.2, 0.8):
        parts.append(pen.dot(tail + along * length_m, pen.up(0.33), 0.33 * scale, f'fill="{INK}"'))
        parts.append(
            pen.dot(tail + along * length_m, pen.up(0.33), 0.15 * scale, f'fill="{GROUND}"')
        )
    half = CAR_WIDTH_M / 2
    parts.append(pen.box(tail, pen.across(-half), length_m, CAR_WIDTH_M * scale, f'{body} rx="9"'))
    parts.append(
        pen.box(tail + 0.28 * length_m, pen.across(-half * 0.75), 0.4 * length_m,
                CAR_WIDTH_M * 0.75 * scale, f'fill="{GROUND}" stroke="{FAINT}" rx="6"')
    )  # fmt: skip
    for k in range(round(26 * dirt)):
        along = 0.06 + 0.88 * ((k * 0.618034) % 1.0)
        height = 0.42 + 0.4 * ((k * 0.414214) % 1.0)
        side = (2 * ((k * 0.732051) % 1.0) - 1) * half * 0.85
        place = tail + along * length_m
        parts.append(pen.dot(place, pen.up(height), 1.7, f'fill="{SOIL}"'))
        parts.append(pen.dot(place, pen.across(side), 1.7, f'fill="{SOIL}"'))
    return "".join(parts)
