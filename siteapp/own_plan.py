"""How do driveways, sign, front, the median and what is cut get from a study into the chain?

A plan is kept by site, so that what is asked for one never slips to another when the site
is moved. It may come from a file, so it is checked here. A driveway is put on a road by a
spot, or moved along the road by metres; the metres count from where the spot put it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from capture.basis import DataError, InputError, plain_text
from siteapp.workspace import Inputs

MOST_NAMED: Final = 200
MOST_METRES: Final = 2_000.0
MOST_HEIGHT_M: Final = 60.0
#: part of a plan -> what it holds
PARTS: Final = {
    "moved": "driveways with metres",
    "placed": "driveways with latitude and longitude",
    "openings": "a list of driveways",
    "near_side_only": "a list of driveways",
    "cut": "what the map shows by its id, with metres left",
    "sign": "driveways with the sign's latitude and longitude",
    "front": "driveways with the front's latitude and longitude",
    "grade": "driveways with percent",
    "access": "driveways with seconds",
}
#: part that holds numbers -> least, most, unit
_NUMBERS: Final = {
    "moved": (-MOST_METRES, MOST_METRES, "metres", "m"),
    "cut": (0.0, MOST_HEIGHT_M, "metres", "m"),
    "grade": (-25.0, 25.0, "percent", "percent"),
    "access": (0.0, 600.0, "seconds", "s"),
}
_SPOTS: Final = ("placed", "sign", "front")
Plan = dict[str, Any]


def get_plan(inputs: Inputs) -> Plan:
    """Return what is planned at the study's own site, checked; empty when nothing is.

    Raises
    ------
    DataError
        When a part is unknown or holds something else than it should.

    Examples
    --------
    >>> get_plan(Inputs(site="parcel:P1", plan={"parcel:P1": {"moved": {"D1": 10}}}))
    {'moved': {'D1': 10.0}}
    >>> get_plan(Inputs(site="parcel:P2", plan={"parcel:P1": {"moved": {"D1": 10}}}))
    {}
    """
    told = inputs.plan.get(inputs.site, {})
    if not isinstance(told, Mapping) or set(told) - set(PARTS):
        raise _fault("it must hold " + ", ".join(PARTS))
    plan: Plan = {}
    for name, words in PARTS.items():
        part = told.get(name)
        if not part:
            continue
        if len(part) > MOST_NAMED if isinstance(part, Mapping | list) else True:
            raise _fault(f"{name} must be {words}, {MOST_NAMED} at most")
        if name in _NUMBERS:
            plan[name] = _check_numbers(name, part)
        elif name in _SPOTS:
            plan[name] = _check_spots(name, part)
        elif not isinstance(part, list) or not all(isinstance(each, str) for each in part):
            raise _fault(f"{name} must be {words}")
        else:
            plan[name] = sorted(set(part))
    return plan


def _check_numbers(name: str, part: Any) -> dict[str, float]:
    low, high, words, unit = _NUMBERS[name]
    if not isinstance(part, Mapping):
        raise _fault(f"{name} must be {PARTS[name]}")
    for key, value in part.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise _fault(f"{name} of {plain_text(str(key))} must be a number of {words}")
        if not (math.isfinite(value) and low <= value <= high):
            raise _fault(f"{name} of {plain_text(str(key))} must be {low:g} to {high:g} {unit}")
        if name == "cut" and not str(key).lstrip("-").isdecimal():
            raise _fault(f"cut must name ids of the map, got {plain_text(str(key))}")
    return {str(key): float(value) for key, value in part.items()}


def _check_spots(name: str, part: Any) -> dict[str, list[float]]:
    if not isinstance(part, Mapping):
        raise _fault(f"{name} must be {PARTS[name]}")
    for key, spot in part.items():
        good = isinstance(spot, list) and len(spot) == 2 and all(
            isinstance(one, int | float) and not isinstance(one, bool) and abs(one) <= most
            for one, most in zip(spot, (86.0, 180.0), strict=True)
        )  # fmt: skip
        if not good:
            raise _fault(f"{name} of {plain_text(str(key))} must be a latitude and a longitude")
    return {str(key): [float(one) for one in spot] for key, spot in part.items()}


def _fault(rule: str) -> DataError:
    return DataError(f"what is planned at this site: {rule}; take the last change back with Undo")


def make_works(inputs: Inputs, site_id: str, projection: Any) -> Any:
    """Return what would be built or cut at the site, as the chain takes it.

    Raises
    ------
    CaptureError
        When the plan breaks a rule.
    """
    from capture.chain.works import Works

    plan = get_plan(inputs)

    def place(part: str) -> dict[tuple[str, str], tuple[float, float]]:
        made = {}
        for name, (lat, lon) in plan.get(part, {}).items():
            x, y = projection.to_xy([lat], [lon])
            made[site_id, name] = (float(x[0]), float(y[0]))
        return made

    return Works(
        openings=frozenset((site_id, name) for name in plan.get("openings", ())),
        near_side_only=frozenset((site_id, name) for name in plan.get("near_side_only", ())),
        grade_percent={(site_id, name): one for name, one in plan.get("grade", {}).items()},
        access_s={(site_id, name): one for name, one in plan.get("access", {}).items()},
        sign_xy=place("sign"),
        front_xy=place("front"),
        cut_screens={int(key): left for key, left in plan.get("cut", {}).items()},
    )


def lay_frontage(inputs: Inputs, place: Any, sites: Any, numbers: Mapping[str, Any]) -> Any:
    """Return the site's driveways with those that were placed or moved; None when none was.

    Raises
    ------
    CaptureError
        When there is no such driveway, or it would leave its frontage.
    """
    plan = get_plan(inputs)
    moved, placed = plan.get("moved", {}), plan.get("placed", {})
    if not moved and not placed:
        return None
    from capture.chain.own_driveway import put_on_road
    from capture.chain.whatif_driveway import put_driveway
    from capture.place import add_frontage

    frontage = add_frontage(place, sites)
    for name, (lat, lon) in placed.items():
        frontage = put_on_road(
            place, sites, frontage, name, lat, lon, values=numbers["place"]
        )  # fmt: skip
    for name, along_m in moved.items():
        if name not in frontage.driveway:
            known = ", ".join(frontage.driveway)
            raise InputError(
                f"driveway {plain_text(name)} was moved, but this site has {known}; take the "
                "last change back with Undo"
            )
        frontage = put_driveway(
            place, sites, frontage, frontage.driveway.index(name), along_m,
            values=numbers["turning"],
        )  # fmt: skip
    return frontage


def place_driveway(plan: Plan, driveway: str, lat: float, lon: float) -> Plan:
    """Return the plan with a driveway at a spot; what was moved along its old road is let go.

    Examples
    --------
    >>> place_driveway({"moved": {"D1": 10.0}}, "D1", 40.0, -75.0)
    {'placed': {'D1': [40.0, -75.0]}}
    """
    moved = {name: at for name, at in plan.get("moved", {}).items() if name != driveway}
    placed = {**plan.get("placed", {}), driveway: _spot(lat, lon)}
    return _tidy({**plan, "placed": placed, "moved": moved})


def place_thing(plan: Plan, part: str, driveways: Sequence[str], lat: float, lon: float) -> Plan:
    """Return the plan with sign or front at a spot, as seen on the way to every driveway.

    Examples
    --------
    >>> place_thing({}, "sign", ["D1"], 40.0, -75.0)
    {'sign': {'D1': [40.0, -75.0]}}
    """
    return _tidy({**plan, part: dict.fromkeys(driveways, _spot(lat, lon))})


def put_number(plan: Plan, part: str, driveway: str, value: float) -> Plan:
    """Return the plan with a driveway's grade or access time; 0 lets it go.

    Examples
    --------
    >>> put_number({"grade": {"D1": 3.0}}, "grade", "D1", 0.0)
    {}
    """
    held = {name: one for name, one in plan.get(part, {}).items() if name != driveway}
    return _tidy({**plan, part: {**held, driveway: float(value)} if value else held})


def _spot(lat: float, lon: float) -> list[float]:
    return [round(float(lat), 7), round(float(lon), 7)]


def move(plan: Plan, driveway: str, along_m: float) -> Plan:
    """Return the plan with a driveway that much farther along than it is now.

    Examples
    --------
    >>> move({"moved": {"D1": 10.0}}, "D1", -10.0)
    {}
    """
    moved = dict(plan.get("moved", {}))
    moved[driveway] = round(moved.get(driveway, 0.0) + along_m, 3)
    return _tidy({**plan, "moved": {name: at for name, at in moved.items() if at}})


def cut(plan: Plan, screens: Mapping[int, float]) -> Plan:
    """Return the plan with more cut: id in the map -> height left, m."""
    more = {str(key): float(left) for key, left in screens.items()}
    return _tidy({**plan, "cut": {**plan.get("cut", {}), **more}})


def build_median(plan: Plan, driveway: str, *, opened: bool) -> Plan:
    """Return the plan with turns across made possible at a driveway, or none.

    Examples
    --------
    >>> build_median({"openings": ["D1"]}, "D1", opened=False)
    {'near_side_only': ['D1']}
    """
    yes, no = ("openings", "near_side_only") if opened else ("near_side_only", "openings")
    kept = [name for name in plan.get(no, ()) if name != driveway]
    return _tidy({**plan, yes: sorted({*plan.get(yes, ()), driveway}), no: kept})


def drop(plan: Plan, part: str, name: str) -> Plan:
    """Return the plan without one thing."""
    held = plan.get(part, {})
    if part in ("sign", "front"):
        return _tidy({**plan, part: {}})
    if isinstance(held, Mapping):
        left: Any = {key: value for key, value in held.items() if key != name}
    else:
        left = [key for key in held if key != name]
    return _tidy({**plan, part: left})


def drop_driveway(plan: Plan, driveway: str) -> Plan:
    """Return the plan without a driveway put on the map, and all that was said of it.

    Examples
    --------
    >>> drop_driveway({"placed": {"D2": [40.0, -75.0]}, "grade": {"D2": 3.0}}, "D2")
    {}
    """
    made = dict(plan)
    for part in plan:
        held = plan[part]
        if isinstance(held, Mapping):
            made[part] = {key: value for key, value in held.items() if key != driveway}
        else:
            made[part] = [key for key in held if key != driveway]
    return _tidy(made)


def _tidy(plan: Plan) -> Plan:
    return {name: plan[name] for name in PARTS if plan.get(name)}


def put_plan(inputs: Inputs, plan: Plan) -> dict[str, Any]:
    """Return the plans of all sites, with this one for the study's own."""
    plans = {site: told for site, told in inputs.plan.items() if site != inputs.site}
    return {**plans, inputs.site: plan} if plan else plans
