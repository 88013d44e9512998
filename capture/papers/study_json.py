"""What does the file of one study hold, and how does every number in it lead to its source?

Assumes a finished study; computes nothing but medians and ranges of its draws. The layout
is published as a JSON Schema beside this module. The same study gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Final

import numpy as np

import capture
from capture.basis import Offer, plain_text
from capture.papers.asked import tell_request
from capture.papers.numbers import render_json, sum_draws, write_number
from capture.papers.sources import Entry, SourceBook
from capture.papers.steps import STEPS
from capture.papers.telling import tell_result
from capture.papers.withheld import PRIVATE_PARTS, hide_book, hide_told, is_withheld

SCHEMA_ID: Final = "urn:site-to-line:study:1"
#: fields of rooms that are workings, not results
_WORKINGS: Final = frozenset(
    {"timeline", "usage", "stations_table", "rays", "on_s", "cash_flow", "sources", "cautions",
     "row", "known", "mixture", "frontier", "aisles", "parts", "stalls"}
)  # fmt: skip


@cache
def load_schema() -> dict[str, Any]:
    """Load the JSON Schema of a study file.

    Examples
    --------
    >>> load_schema()["$id"]
    'urn:site-to-line:study:1'
    """
    text = (files("capture.papers") / "schema" / "study.schema.json").read_text(encoding="utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def make_source_book(study: Any) -> SourceBook:
    """Make the book of all that a study stands on."""
    book = SourceBook()
    for sheet in study.numbers.values():
        book.add_sheet(sheet)
    layers = {kind: book.add_layer(layer) for kind, layer in sorted(study.area.layers.items())}
    streams = [_book_stream(book, study, r, layers) for r in range(len(study.streams.edge))]
    for step in STEPS.values():
        reads = [*(f"step.{key}" for key in step.after), *book.room_ids(*step.rooms)]
        if step.key == "passing":
            reads += [*streams, *layers.values()]
        if step.key == "around":
            reads += [
                layers[kind] for kind in ("rivals", "people", "attractions") if kind in layers
            ]
        if step.key == "share" and "known_sites" in layers:
            reads.append(layers["known_sites"])
        if step.key == "busy" and "weather" in layers:
            reads.append(layers["weather"])
        book.add(
            Entry(
                id=f"step.{step.key}",
                title=step.source,
                locator=step.equation,
                grade="computed",
                meaning=step.sentence,
                made_from=tuple(reads),
            )
        )
    _book_offer(book, study.offer)
    return hide_book(book) if is_withheld(study) else book


def _book_stream(book: SourceBook, study: Any, r: int, layers: dict[str, str]) -> str:
    streams = study.streams
    measured = bool(streams.measured[r])
    made_from = layers.get("counts" if measured else "roads")
    invented = study.area.invented and measured
    return book.add(
        Entry(
            id=f"stream.{r + 1}",
            title=plain_text(streams.source[r], most=400),
            locator=plain_text(streams.road[r] or "road without a name"),
            grade="invented" if invented else "measured" if measured else "estimated",
            meaning="washable vehicles a day in this direction",
            value=float(streams.vehicles_per_day[r]),
            unit="vehicles/day",
            made_from=(made_from,) if made_from else (),
        )
    )


def _book_offer(book: SourceBook, offer: Offer) -> None:
    usual = Offer().to_dict()
    for name, value in offer.to_dict().items():
        number = (
            float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
        )
        book.add(
            Entry(
                id=f"offer.{name}",
                title="your own choice" if value != usual[name] else "usual choice, change it",
                locator=name,
                grade="yours" if value != usual[name] else "practice",
                meaning=f"{name.replace('_', ' ')}: {value}",
                value=number,
            )
        )


def make_study_dict(study: Any, *, hide: Collection[str] = ()) -> dict[str, Any]:
    """Make the content of a study file, as plain values.

    Parameters
    ----------
    study : Study
    hide : collection of str
        What was given by hand and stays out of the file, as for
        :func:`capture.papers.asked.tell_request`.
    """
    book, hidden = make_source_book(study), is_withheld(study)
    draws = study.worlds.draws
    told = {
        "schema": SCHEMA_ID,
        "program": {"name": "site-to-line", "version": capture.__version__},
        "seed": study.worlds.seed,
        "draws": draws,
        "year": study.year,
        "request": tell_request(study, hide=[*hide, *PRIVATE_PARTS] if hidden else hide),
        "area": _tell_area(study),
        "site": _tell_site(study),
        "offer": study.offer.to_dict(),
        "streams": [_tell_stream(study, r) for r in range(len(study.streams.edge))],
        "rivals": _tell_rivals(study),
        "people": _tell_people(study),
        "passing": _draws(np.asarray(study.vehicles).sum(axis=0), "vehicles/day", "step.passing"),
        "capture_rate": _tell_share(study),
        "cars_per_year": _draws(study.cars_per_year, "cars/year", "step.year"),
        "cars_per_day": _draws(np.asarray(study.cars_per_year) / 365, "cars/day", "step.year"),
        "busy_hour_cars": _tell_busy(study),
        "design_hour_cars": float(study.design_hour_cars),
        "line": _tell_line(study),
        "queue": _tell(study, study.queue, "step.queue"),
        "utilities": _tell_utilities(study),
        "ground": _tell(study, study.ground, "step.ground"),
        "money": _tell(study, study.money, "step.money"),
        "cautions": [plain_text(text, most=2000) for text in study.cautions],
        "sources": [entry.to_dict() for entry in book.entries()],
    }
    return hide_told(told, study) if hidden else told


def render_study(study: Any, *, hide: Collection[str] = ()) -> str:
    """Render a study as the text of its file; the same study gives the same text.

    Parameters
    ----------
    study : Study
    hide : collection of str
        What was given by hand and stays out of the file: ``"known"``, ``"sales"`` and others,
        as for :func:`capture.papers.asked.tell_request`. Who opens the file must pass it.
    """
    return render_json(make_study_dict(study, hide=hide))


def _draws(draws: Any, unit: str, source: str) -> dict[str, Any]:
    return write_number(sum_draws(draws, unit), source)


def _tell(study: Any, thing: Any, source: str) -> dict[str, Any]:
    told = tell_result(
        thing,
        source=source,
        draws=study.worlds.draws,
        leave=_WORKINGS,
        units=list_units(study.numbers),
    )
    return {**(told or {}), "source": source}


def list_units(numbers: Mapping[str, Any]) -> dict[str, str]:
    """List the unit of every built-in number by its bare name, where all rooms agree."""
    named: dict[str, set[str]] = {}
    for sheet in numbers.values():
        for number in sheet.values():
            named.setdefault(number.name, set()).add(number.unit)
    return {name: units.pop() for name, units in named.items() if len(units) == 1}


def _tell_area(study: Any) -> dict[str, Any]:
    area = study.area
    return {
        "name": plain_text(area.name),
        "invented": area.invented,
        "driving_side": area.driving_side,
        "time_zone": area.time_zone,
        "layers": [
            {
                "kind": kind,
                "source": f"data.{kind}",
                "licence": plain_text(layer.licence),
                "status": "invented demo data" if layer.invented else "as delivered",
            }
            for kind, layer in sorted(area.layers.items())
        ],
    }


def _tell_site(study: Any) -> dict[str, Any]:
    sites, frontage = study.sites, study.frontage
    lat, lon = study.place.network.projection.to_latlon(frontage.x, frontage.y)
    names = study.place.network.segment_name
    return {
        "id": plain_text(sites.ids[0]),
        "name": plain_text(sites.names[0]),
        "lat": round(float(sites.lat[0]), 7),
        "lon": round(float(sites.lon[0]), 7),
        "area_m2": float(sites.polygons[0].area) if sites.polygons[0] is not None else None,
        "driveways": [
            {
                "id": plain_text(driveway),
                "road": plain_text(names[int(frontage.segment[f])]),
                "lat": round(float(lat[f]), 7),
                "lon": round(float(lon[f]), 7),
                "proposed": bool(frontage.proposed[f]),
            }
            for f, driveway in enumerate(frontage.driveway)
        ],
    }


def _tell_stream(study: Any, r: int) -> dict[str, Any]:
    streams, turning, seeing = study.streams, study.turning, study.seeing
    year = float(streams.year[r])
    return {
        "id": f"stream.{r + 1}",
        "road": plain_text(streams.road[r]),
        "direction_deg": float(streams.direction_deg[r]),
        "vehicles_per_day": _draws(study.vehicles[r], "vehicles/day", f"stream.{r + 1}"),
        "side": "near" if bool(streams.near_side[r]) else "far",
        "measured": bool(streams.measured[r]),
        "year": int(year) if np.isfinite(year) and year > 0 else None,
        "speed_mps": float(streams.speed_mps[r]),
        "lanes": float(streams.lanes[r]),
        "delay_s": _draws(turning.delay_s[r], "s", "step.turning"),
        "way_in": plain_text(turning.way_in[r]),
        "way_out": plain_text(turning.way_out[r]),
        "queue95_veh": _draws(turning.queue95_veh[r], "vehicles", "step.turning"),
        "sight": _draws(seeing.sight[r], "share", "step.seeing"),
        "seen_m": float(seeing.seen_m[r]),
        "needed_m": float(seeing.needed_m[r]),
        "source": f"stream.{r + 1}",
    }


def _tell_rivals(study: Any) -> list[dict[str, Any]]:
    rivals, around = study.rivals, study.around
    told = []
    for k, name in enumerate(rivals.names):
        seconds = float(np.asarray(around.rival_seconds)[0, k])
        told.append(
            {
                "id": plain_text(rivals.ids[k]),
                "name": plain_text(name),
                "format": plain_text(rivals.formats[k]),
                "minutes": seconds / 60 if np.isfinite(seconds) else None,
                "likeness": float(np.asarray(around.likeness)[k]),
                "lat": round(float(rivals.lat[k]), 7),
                "lon": round(float(rivals.lon[k]), 7),
                "source": "step.around",
            }
        )
    return sorted(told, key=lambda row: (row["minutes"] is None, row["minutes"] or 0, row["id"]))


def _tell_people(study: Any) -> dict[str, Any]:
    around = study.around
    told: dict[str, Any] = {"source": "step.around"}
    for name, unit in (
        ("people_10min", "people"),
        ("households_10min", "households"),
        ("vehicles_10min", "vehicles"),
        ("income", "USD/year"),
        ("pull", "1"),
        ("nearest_like_s", "s"),
    ):
        values = getattr(around, name, None)
        if values is not None:
            told[name] = _draws(np.atleast_1d(values)[0], unit, "step.around")
    return told


def _tell_share(study: Any) -> dict[str, Any]:
    share = study.share
    multipliers = [_tell_multiplier(study, k) for k in range(len(share.names))]
    for name, factors in (
        ("operator", share.operator),
        ("untried ground", share.selection),
        ("all else", share.residual[0]),
    ):
        multipliers.append({"name": name, **_draws(factors, "1", "step.share")})
    return {
        **_draws(share.rate[0], "share", "step.share"),
        "meaning": "cars washed over washable vehicles passing, both directions, per passing",
        "base": _draws(share.base, "share", "step.share"),
        "rejected_share": float(share.rejected_share),
        "known_sites": int(study.fit.known_count),
        "multipliers": multipliers,
    }


def _tell_multiplier(study: Any, k: int) -> dict[str, Any]:
    """Tell one factor: ``exp(beta (x - reference))``, wider where the site does not tell x."""
    share = study.share
    told: dict[str, Any] = {"name": share.names[k], "missing": bool(share.missing[0, k])}
    if told["missing"]:
        return told | {
            "value": float(share.multiplier[0, k]),
            "low": float(share.multiplier_low[0, k]),
            "high": float(share.multiplier_high[0, k]),
            "mean": None,
            "unit": "1",
            "words": "not known here: taken at its reference, with the spread of all sites",
            "source": "step.share",
        }
    x = float(share.x[0, k])
    factors = np.exp(share.beta[k] * (x - float(study.fit.reference[k])))
    return told | {"x": x, **_draws(factors, "1", "step.share")}


def _tell_busy(study: Any) -> dict[str, Any]:
    busy = study.busy
    return {
        **_draws(busy.cars[0], "cars/h", "step.busy"),
        "rank": int(busy.rank),
        "expected_only": _draws(busy.expected[0], "cars/h", "step.busy"),
        "busiest_day": _draws(busy.busiest_day[0], "cars/day", "step.busy"),
    }


def _tell_line(study: Any) -> dict[str, Any]:
    told = _tell(study, study.line, "step.line")
    for name, unit in (
        ("length_m", "m"),
        ("chain_speed_mps", "m/s"),
        ("cars_per_hour", "cars/h"),
    ):
        told[name] = _spread_line(study, name, unit)
    return told


def _spread_line(study: Any, name: str, unit: str) -> dict[str, Any]:
    chosen = float(getattr(study.line, name))
    written = _draws(np.asarray(getattr(study.lines, name)).ravel(), unit, "step.line")
    written["value"] = chosen
    for end, pick in (("low", min), ("high", max)):
        if written[end] is not None:
            written[end] = pick(written[end], chosen)
    return written


def _tell_utilities(study: Any) -> dict[str, Any]:
    utilities = study.utilities
    told = _tell(study, utilities, "step.utilities")
    told["figures"] = {
        name: {
            **write_number(figure.range, "step.utilities"),
            "label": plain_text(figure.label),
            "caution": plain_text(figure.caution, most=1000),
        }
        for name, figure in utilities.figures.items()
    }
    return told
