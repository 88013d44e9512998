"""Which mark stands for what on maps, charts and in print?

One table, so that a thing looks the same wherever it is shown. Nothing is told by colour
alone: width, dash, shape or a word always says it too. Assumes a light, paper-like ground;
every ink on it has a contrast of at least 4.5 to 1 for text.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

GROUND: Final = "#f5f2ea"
INK: Final = "#1f2d36"
FAINT_INK: Final = "#55636b"
WATER: Final = "#0b6477"
RUST: Final = "#a23b16"
MOSS: Final = "#3f6b2a"
PLUM: Final = "#6d3a72"
SAND: Final = "#d9d2c1"

#: vehicles a day from which the next style starts
VOLUME_STEPS: Final = (0.0, 1_000.0, 5_000.0, 10_000.0, 20_000.0, 40_000.0)
_VOLUME_INKS: Final = ("#8fb4b8", "#5f9aa3", "#35808e", "#0b6477", "#0a4a5e", "#08324a")

Shape = Literal["circle", "square", "diamond", "triangle", "cross", "ring"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How one kind of mark is drawn."""

    #: what the legend calls it
    words: str
    #: ink of line and outline
    ink: str
    #: width of the line, pixels
    width: float = 2.0
    #: on and off pixels, such as "6 6"; "" draws a solid line
    dash: str = ""
    #: ink of the inside; "" leaves it open
    fill: str = ""
    #: how much of what lies below is hidden by the inside, 0-1
    fill_share: float = 0.0
    #: shape of a point
    shape: Shape = "circle"
    #: radius of a point, pixels
    radius: float = 6.0


def _volume_looks() -> dict[str, Look]:
    looks = {}
    for step, (start, ink) in enumerate(zip(VOLUME_STEPS, _VOLUME_INKS, strict=True)):
        end = VOLUME_STEPS[step + 1] if step + 1 < len(VOLUME_STEPS) else None
        span = f"{start:,.0f} to {end:,.0f}" if end else f"{start:,.0f} and more"
        for how, dash in (("measured", ""), ("estimated", "7 5")):
            looks[f"road-{step}-{how}"] = Look(
                words=f"{span} a day, {how}", ink=ink, width=1.6 + 1.3 * step, dash=dash
            )
    return looks


LOOKS: Final[dict[str, Look]] = {
    **_volume_looks(),
    "site": Look(words="the site", ink=RUST, fill=RUST, fill_share=1, shape="diamond", radius=11),
    "parcel": Look(words="parcel", ink=RUST, width=2.5, fill=RUST, fill_share=0.12),
    "driveway": Look(words="driveway", ink=RUST, fill="#ffffff", fill_share=1, radius=5),
    "stream-near": Look(words="passes on the near side", ink=RUST, width=4),
    "stream-far": Look(words="passes on the far side", ink=PLUM, width=4, dash="10 5"),
    "sight-clear": Look(words="clear view of the site", ink=MOSS, width=1.6),
    "sight-blocked": Look(words="view blocked", ink=RUST, width=1.6, dash="2 5"),
    "sight-reach": Look(words="seen from here on", ink=MOSS, shape="ring", radius=7, width=3),
    "screen": Look(words="hedge, wall, trees", ink=MOSS, width=5, fill=MOSS, fill_share=0.35),
    "screen-cut": Look(words="cut to the ground", ink=MOSS, width=2, dash="1 6"),
    "sign": Look(words="the sign", ink=PLUM, fill=PLUM, fill_share=1, shape="triangle", radius=7),
    "front": Look(
        words="the building front", ink=PLUM, fill="#ffffff", fill_share=1, shape="square", radius=5
    ),
    "chosen": Look(words="where you clicked", ink=RUST, shape="ring", radius=14, width=3),
    "rival": Look(
        words="rival wash", ink=INK, fill="#ffffff", fill_share=1, shape="square", radius=8
    ),
    "rival-like": Look(
        words="rival of the same kind", ink=INK, fill=INK, fill_share=1, shape="square", radius=8
    ),
    "rival-shut": Look(words="rival, shut or planned", ink=INK, shape="cross", radius=7, width=2.5),
    "count": Look(
        words="traffic count", ink=WATER, fill="#ffffff", fill_share=1, shape="triangle", radius=8
    ),
    "count-unsure": Look(
        words="count with a doubtful or second road",
        ink=RUST,
        fill="#ffffff",
        fill_share=1,
        shape="diamond",
        radius=8,
    ),
    "count-hand": Look(
        words="count tied by you", ink=WATER, fill=WATER, fill_share=1, shape="triangle", radius=8
    ),
    "count-loose": Look(
        words="count tied to no road", ink=RUST, shape="cross", radius=7, width=2.5
    ),
    "count-chosen": Look(words="the count chosen", ink=RUST, shape="ring", radius=15, width=3),
    "tie": Look(words="the road it was tied to", ink=WATER, width=2, dash="2 4"),
    "band-5": Look(words="within 5 minutes' drive", ink=PLUM, width=2, fill=PLUM, fill_share=0.10),
    "band-10": Look(
        words="within 10 minutes' drive", ink=PLUM, width=2, dash="8 6", fill=PLUM, fill_share=0.05
    ),
    "people-0": Look(words="few people", ink=MOSS, width=1, fill=MOSS, fill_share=0.05),
    "people-1": Look(words="some people", ink=MOSS, width=1, fill=MOSS, fill_share=0.18),
    "people-2": Look(words="many people", ink=MOSS, width=1, fill=MOSS, fill_share=0.36),
    "first-site": Look(
        words="the first site", ink=WATER, fill=WATER, fill_share=1, shape="square", radius=9
    ),
    **{
        f"members-first-{k}": Look(
            words="members nearer to the first site",
            ink=WATER,
            width=1,
            fill=WATER,
            fill_share=share,
        )
        for k, share in enumerate((0.08, 0.22, 0.45))
    },
    **{
        f"members-second-{k}": Look(
            words="members nearer to this site",
            ink=RUST,
            width=2,
            dash="5 3",
            fill=RUST,
            fill_share=share,
        )
        for k, share in enumerate((0.08, 0.22, 0.45))
    },
    "rank-top": Look(words="first five", ink=RUST, width=3, fill=RUST, fill_share=0.55, radius=11),
    "rank-middle": Look(
        words="the rest", ink=WATER, width=1.5, fill=WATER, fill_share=0.18, radius=8
    ),
    "rank-struck": Look(
        words="struck out", ink=FAINT_INK, width=2, dash="3 4", shape="cross", radius=8
    ),
    "building": Look(words="wash building", ink=INK, width=2, fill=INK, fill_share=0.45),
    "ground-lanes": Look(words="lanes for the queue", ink=PLUM, width=2, fill=PLUM, fill_share=0.2),
    "ground-pay": Look(words="pay lanes", ink=PLUM, width=2, fill=PLUM, fill_share=0.4),
    "ground-turn": Look(words="room to turn and leave", ink=FAINT_INK, width=1.5, dash="5 4"),
    "ground-stalls": Look(words="vacuum bays", ink=WATER, width=1, fill=WATER, fill_share=0.2),
    "queue": Look(words="street that the queue takes", ink=RUST, width=3, dash="9 5"),
    "queue-car": Look(words="car in its place", ink=INK, width=1.2, fill="#ffffff", fill_share=1),
    "queue-free": Look(words="place still free", ink=FAINT_INK, width=1.2, dash="2 3"),
    "queue-street": Look(
        words="car with no place, in the street",
        ink=RUST,
        width=2,
        fill="#ffd9a0",
        fill_share=1,
    ),
    "queue-bar": Look(words="barred: no place", ink=RUST, width=1.2),
    "queue-end": Look(
        words="end of the queue", ink=RUST, fill="#ffd9a0", fill_share=1, shape="triangle", radius=9
    ),
}


def choose_volume_look(vehicles_per_day: float, *, measured: bool) -> str:
    """Choose the style of a road by its vehicles a day.

    Examples
    --------
    >>> choose_volume_look(12_000, measured=False)
    'road-3-estimated'
    """
    step = sum(vehicles_per_day >= start for start in VOLUME_STEPS) - 1
    return f"road-{max(step, 0)}-{'measured' if measured else 'estimated'}"
