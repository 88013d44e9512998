"""How are pictures drawn for print: as small SVG texts, the same in PDF and HTML?

Numbers are placed with one decimal, text is escaped, nothing is fetched. Ink on paper, and
never by colour alone.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from capture.basis import plain_text
from capture.papers.look import INK, SAND

FACE: Final = "Source Sans Pro, Source Sans 3, Segoe UI, Helvetica, Arial, sans-serif"
TEXT: Final = 11.0


@dataclass(slots=True)
class Drawing:
    """An SVG being drawn; a drawing board, not a result."""

    #: size in points
    width: float
    height: float
    #: what it shows, for who cannot see it
    title: str
    _parts: list[str] = field(default_factory=list)

    def line(
        self, points: Iterable[tuple[float, float]], ink: str = INK, width: float = 1.0,
        dash: str = "",
    ) -> None:  # fmt: skip
        """Draw a line through points."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<polyline points="{path}" fill="none" stroke="{ink}" stroke-width="{width:g}"{dashes}'
            ' stroke-linejoin="round"/>'
        )

    def area(
        self, points: Iterable[tuple[float, float]], fill: str, *, ink: str = "none",
        width: float = 1.0, share: float = 1.0, dash: str = "",
    ) -> None:  # fmt: skip
        """Draw a filled shape."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<polygon points="{path}" fill="{fill}" fill-opacity="{share:g}" stroke="{ink}" '
            f'stroke-width="{width:g}"{dashes}/>'
        )

    def box(
        self, x: float, y: float, width: float, height: float, fill: str, *, ink: str = "none",
        line: float = 1.0,
    ) -> None:  # fmt: skip
        """Draw a box."""
        self._parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0):.1f}" height="{height:.1f}" '
            f'fill="{fill}" stroke="{ink}" stroke-width="{line:g}"/>'
        )

    def dot(self, x: float, y: float, radius: float, fill: str, ink: str = "none") -> None:
        """Draw a round dot."""
        self._parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="{fill}" stroke="{ink}"/>'
        )

    def text(
        self, x: float, y: float, said: object, *, anchor: str = "start", size: float = TEXT,
        bold: bool = False, ink: str = INK, halo: str = "",
    ) -> None:  # fmt: skip
        """Write text; ``y`` is its foot, ``halo`` the ink of a rim that parts it from lines."""
        weight = ' font-weight="600"' if bold else ""
        if halo:
            self._parts.append(
                f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}" '
                f'fill="{halo}" stroke="{halo}" stroke-width="3" stroke-linejoin="round" '
                f'aria-hidden="true"{weight}>{html.escape(plain_text(said))}</text>'
            )
        self._parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}" '
            f'fill="{ink}"{weight}>{html.escape(plain_text(said))}</text>'
        )

    def render(self) -> str:
        """Return the SVG text."""
        title = html.escape(plain_text(self.title))
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} '
            f'{self.height:g}" width="{self.width:g}" height="{self.height:g}" '
            f'font-family="{FACE}" role="img" aria-label="{title}"><title>{title}</title>'
            + "".join(self._parts)
            + "</svg>"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """Turns amounts into places along one side of a picture."""

    #: amounts at the two ends
    low: float
    high: float
    #: places of the two ends, points
    start: float
    end: float

    def at(self, amount: float) -> float:
        """Return the place of an amount.

        Examples
        --------
        >>> Axis(low=0, high=10, start=0, end=100).at(5)
        50.0
        """
        span = (self.high - self.low) or 1.0
        return self.start + (amount - self.low) / span * (self.end - self.start)

    def ticks(self, most: int = 6) -> list[float]:
        """Return round amounts along the axis.

        Examples
        --------
        >>> Axis(low=0, high=97, start=0, end=1).ticks()
        [0.0, 20.0, 40.0, 60.0, 80.0]
        """
        span = self.high - self.low
        if span <= 0:
            return [self.low]
        raw = span / most
        power = 10.0 ** (len(f"{raw:.0f}") - 1 if raw >= 1 else -_places(raw))
        step = next(s * power for s in (1, 2, 2.5, 5, 10, 20) if s * power >= raw * 0.999)
        first = -(-self.low // step) * step
        count = int((self.high - first) / step + 1e-9) + 1
        return [round(first + k * step, 10) for k in range(count)]


def _places(amount: float) -> int:
    places = 0
    while amount < 1 and places < 12:
        amount *= 10
        places += 1
    return places


def draw_axis_below(drawing: Drawing, axis: Axis, y: float, top: float, title: str) -> None:
    """Draw the axis along the bottom, with faint lines up to ``top``."""
    for tick in axis.ticks():
        x = axis.at(tick)
        drawing.line([(x, y), (x, top)], SAND, 0.7)
        drawing.text(x, y + 13, f"{tick:g}", anchor="middle", size=9.5)
    drawing.text((axis.start + axis.end) / 2, y + 27, title, anchor="middle", size=9.5)


def draw_axis_left(drawing: Drawing, axis: Axis, x: float, right: float, title: str) -> None:
    """Draw the axis along the left, with faint lines out to ``right``."""
    for tick in axis.ticks(5):
        y = axis.at(tick)
        drawing.line([(x, y), (right, y)], SAND, 0.7)
        drawing.text(x - 5, y + 3, f"{tick:g}", anchor="end", size=9.5)
    drawing.text(x - 5, axis.end - 9, title, size=9.5)


def even(
    points: Sequence[float], axis: Axis, across: Axis, step: float
) -> list[tuple[float, float]]:
    """Place a row of amounts at even distances.

    Examples
    --------
    >>> even([0, 1], Axis(low=0, high=1, start=10, end=0),
    ...      Axis(low=0, high=1, start=0, end=5), 1.0)
    [(0.0, 10.0), (5.0, 0.0)]
    """
    return [(across.at(k * step), axis.at(value)) for k, value in enumerate(points)]
