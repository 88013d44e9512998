"""What must a reader of one study be told before trusting it, most pressing first?

Rooms say their own cautions; here they are gathered once each, after those that only the
whole chain can know.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import numpy as np

from capture.chain.works import say_works
from capture.share import measure_unlikeness

#: a site farther out than this part of sites like the known ones is said to be unlike them
FAR_SHARE: Final = 0.95
ALWAYS: Final = (
    "The share washed (capture rate) is per passing: a commuter passes twice. Nobody can "
    "predict it well; the range is the answer, not the middle.",
    "Planning figures. Electrical work, plumbing, backflow, discharge, traffic access, structure, "
    "machine guarding and chemicals are for local codes and licensed practice.",
)


def gather_cautions(study: Any) -> tuple[str, ...]:
    """Gather a study's cautions, each once, in order of weight."""
    return tuple(dict.fromkeys([*_say_first(study), *ALWAYS, *_list_rooms(study)]))


def _say_first(study: Any) -> Iterable[str]:
    if study.area.invented:
        yield "Invented demo data: no place, road, wash or figure of this area is real."
    yield from say_works(study.chain.request.works)
    if study.chain.request.frontage is not None:
        yield "A driveway stands where it was moved to, not where it was first proposed."
    streams = study.streams
    if not bool(np.any(streams.measured)):
        yield "No count stands on any road passing this site: vehicles a day are estimated."
    elif not bool(np.all(streams.measured)):
        yield "Some of the directions passing this site are estimated, not counted."
    yield from (note for note in dict.fromkeys(streams.notes) if note)
    if study.fit.known_count == 0:
        yield (
            "No known sites were given: the share rests on starting values from trade practice "
            "(from memory), not on washes that were counted."
        )
    if bool(np.asarray(study.share.missing).any()):
        unknown = [
            name.replace("_", " ")
            for name, gone in zip(study.share.names, study.share.missing[0], strict=True)
            if gone
        ]
        yield (
            f"Not known here, so taken at the reference with a wider range: {', '.join(unknown)}."
        )
    unlike = measure_unlikeness(study.fit, study.factors)[0]
    if unlike.nearer_share > FAR_SHARE or unlike.outside:
        yield unlike.words
    if study.place.notes:
        yield from study.place.notes


def _list_rooms(study: Any) -> Iterable[str]:
    for name in ("turning", "seeing", "around", "shape", "line", "queue", "utilities", "ground"):
        yield from _flatten(getattr(getattr(study, name), "cautions", ()))
    yield from _flatten(study.volumes.remarks)
    yield from _flatten(study.money.cautions)


def _flatten(said: Any) -> Iterable[str]:
    if isinstance(said, str):
        if said:
            yield said
    else:
        for part in said or ():
            yield from _flatten(part)
