"""How do the driveway, the median and what is cut get from a study into the chain?

A plan is kept by site, so that what is asked for one never slips to another when the site
is moved. It may come from a file, so it is checked here. Assumes that a driveway moves
along its own piece of road; distances are from where it was proposed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from capture.basis import DataError, InputError, plain_text
from siteapp.workspace import Inputs

MOST_NAMED: Final = 200
MOST_METRES: Final = 2_000.0
MOST_HEIGHT_M: Final = 60.0
#: part of a plan -> what it holds
PARTS: Final = {
    "moved": "driveways with metres",
    "openings": "a list of driveways",
    "near_side_only": "a list of driveways",
    "cut": "what the map shows by its id, with metres left",
}
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
        if name in ("moved", "cut"):
            low, high = (-MOST_METRES, MOST_METRES) if name == "moved" else (0.0, MOST_HEIGHT_M)
            plan[name] = _check_metres(name, part, low, high)
        elif not isinstance(part, list) or not all(isinstance(each, str) for each in part):
            raise _fault(f"{name} must be {words}")
        else:
            plan[name] = sorted(set(part))
    return plan


def _check_metres(name: str, part: Any, low: float, high: float) -> dict[str, float]:
    if not isinstance(part, Mapping):
        raise _fault(f"{name} must be {PARTS[name]}")
    for key, value in part.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise _fault(f"{name} of {plain_text(str(key))} must be a number of metres")
        if not (math.isfinite(value) and low <= value <= high):
            raise _fault(f"{name} of {plain_text(str(key))} must be {low:g} to {high:g} m")
        if name == "cut" and not str(key).lstrip("-").isdecimal():
            raise _fault(f"cut must name ids of the map, got {plain_text(str(key))}")
    return {str(key): float(value) for key, value in part.items()}


def _fault(rule: str) -> DataError:
    return DataError(f"what is planned at this site: {rule}; take the last change back with Undo")


def make_works(inputs: Inputs, site_id: str) -> Any:
    """Return what would be built or cut at the site, as the chain takes it.

    Raises
    ------
    CaptureError
        When the plan breaks a rule.
    """
    from capture.chain.works import Works

    plan = get_plan(inputs)
    return Works(
        openings=frozenset((site_id, name) for name in plan.get("openings", ())),
        near_side_only=frozenset((site_id, name) for name in plan.get("near_side_only", ())),
        cut_screens={int(key): left for key, left in plan.get("cut", {}).items()},
    )


def lay_frontage(inputs: Inputs, place: Any, sites: Any, numbers: Mapping[str, Any]) -> Any:
    """Return the site's driveways with those that were moved; None when none was.

    Raises
    ------
    CaptureError
        When there is no such driveway, or it would leave its frontage.
    """
    moved = get_plan(inputs).get("moved", {})
    if not moved:
        return None
    from capture.chain.whatif_driveway import put_driveway
    from capture.place import add_frontage

    frontage = add_frontage(place, sites)
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
    if isinstance(held, Mapping):
        left: Any = {key: value for key, value in held.items() if key != name}
    else:
        left = [key for key in held if key != name]
    return _tidy({**plan, part: left})


def _tidy(plan: Plan) -> Plan:
    return {name: plan[name] for name in PARTS if plan.get(name)}


def put_plan(inputs: Inputs, plan: Plan) -> dict[str, Any]:
    """Return the plans of all sites, with this one for the study's own."""
    plans = {site: told for site, told in inputs.plan.items() if site != inputs.site}
    return {**plans, inputs.site: plan} if plan else plans
