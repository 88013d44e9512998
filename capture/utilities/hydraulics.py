"""How much power do pumps need, what does a nozzle pass, how do grit and heat behave?

One formula a function, SI in and out, each valid for scalars and arrays.
"""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import ArrayLike, NDArray

from capture.basis import CaptureWarning, InputError, Sheet
from capture.utilities.values import VALUES

FloatArray = NDArray[np.float64]


def _floats(name: str, amount: ArrayLike, unit: str, *, positive: bool = False) -> FloatArray:
    array = np.asarray(amount, dtype=np.float64)
    bad = ~np.isfinite(array) | (array <= 0 if positive else array < 0)
    if bad.any():
        rule = "over 0" if positive else "0 or more"
        raise InputError(f"{name} must be {rule} {unit}, got {array[bad].flat[0]}; check it")
    return array


def compute_pump_power(
    flow_m3s: ArrayLike, pressure_pa: ArrayLike, efficiency_share: ArrayLike
) -> FloatArray:
    """Return the shaft power of a pump: flow x pressure / efficiency, W.

    Raises
    ------
    InputError
        For a negative flow or pressure, or an efficiency not within 0 to 1.

    Notes
    -----
    In US units hp = gpm x psi / (1714 eff), the same law.

    References
    ----------
    Hydraulic Institute, *Engineering Data Book*: water horsepower.

    Examples
    --------
    >>> gpm, psi, hp = 6.30901964e-05, 6894.757293168361, 745.6998715822702
    >>> round(float(compute_pump_power(20 * gpm, 1500 * psi, 1.0)) / hp, 1)
    17.5
    """
    flow = _floats("pump flow", flow_m3s, "m3/s")
    pressure = _floats("pump pressure", pressure_pa, "Pa")
    efficiency = _floats("pump efficiency", efficiency_share, "share", positive=True)
    if (efficiency > 1).any():
        raise InputError(f"pump efficiency must be at most 1, got {efficiency.max()}; check it")
    return np.asarray(flow * pressure / efficiency)


def compute_nozzle_flow(
    flow_m3s: ArrayLike, pressure_pa: ArrayLike, new_pressure_pa: ArrayLike
) -> FloatArray:
    """Return what a nozzle passes at another pressure: q2 = q1 sqrt(p2 / p1), m3/s.

    Raises
    ------
    InputError
        When the first pressure is not over 0 Pa or another input is negative.

    Examples
    --------
    >>> float(compute_nozzle_flow(1.0, 40.0, 160.0))
    2.0
    """
    flow = _floats("nozzle flow", flow_m3s, "m3/s")
    before = _floats("nozzle pressure", pressure_pa, "Pa", positive=True)
    after = _floats("new nozzle pressure", new_pressure_pa, "Pa")
    return np.asarray(flow * np.sqrt(after / before))


def compute_settling_speed(
    diameter_m: ArrayLike,
    *,
    particle_kgm3: ArrayLike | None = None,
    values: Sheet = VALUES,
) -> FloatArray:
    """Return the speed at which a small grain sinks in still water, m/s.

    Parameters
    ----------
    diameter_m : array_like of float
        Grain diameter.
    particle_kgm3 : array_like of float, optional
        Grain density; quartz when left out.

    Warns
    -----
    CaptureWarning
        When the grain's Reynolds number reaches 1: the law then overstates the speed.

    Raises
    ------
    InputError
        When the grain is lighter than water or its diameter is not over 0 m.

    Notes
    -----
    v = g (rho_p - rho) d^2 / (18 mu), valid for Re = rho v d / mu < 1.

    References
    ----------
    Stokes, G. G. (1851), "On the effect of the internal friction of fluids on the motion
    of pendulums".

    Examples
    --------
    >>> round(1000 * float(compute_settling_speed(50e-6)), 2)
    2.24
    """
    diameter = _floats("grain diameter", diameter_m, "m", positive=True)
    density = values.value("water_density_kgm3")
    viscosity = values.value("water_viscosity_pas")
    solid = _floats(
        "grain density",
        values.value("grit_density_kgm3") if particle_kgm3 is None else particle_kgm3,
        "kg/m3",
    )
    if (solid <= density).any():
        raise InputError(
            f"grain density must be over water's {density:g} kg/m3, got {solid.min():g}; "
            "lighter grains float and need a separator"
        )
    speed = values.value("gravity_mps2") * (solid - density) * diameter**2 / (18.0 * viscosity)
    if (compute_reynolds(speed, diameter, values=values) >= 1.0).any():
        warnings.warn(
            "settling: a grain's Reynolds number is 1 or more, so the speed is overstated",
            CaptureWarning,
            stacklevel=2,
        )
    return np.asarray(speed)


def compute_reynolds(
    speed_mps: ArrayLike, diameter_m: ArrayLike, *, values: Sheet = VALUES
) -> FloatArray:
    """Return a grain's Reynolds number in water: rho v d / mu."""
    speed = np.asarray(speed_mps, dtype=np.float64)
    ratio = values.value("water_density_kgm3") / values.value("water_viscosity_pas")
    return np.asarray(ratio * speed * np.asarray(diameter_m, dtype=np.float64))


def compute_tank_area(flow_m3s: ArrayLike, settling_mps: ArrayLike) -> FloatArray:
    """Return the least surface of an ideal settling tank: flow / settling speed, m2.

    References
    ----------
    Hazen, A. (1904), "On sedimentation", *Transactions ASCE* 53.

    Examples
    --------
    >>> float(compute_tank_area(0.004, 0.002))
    2.0
    """
    flow = _floats("tank flow", flow_m3s, "m3/s")
    return np.asarray(flow / _floats("settling speed", settling_mps, "m/s", positive=True))


def compute_heater_power(
    flow_m3s: ArrayLike,
    rise_k: ArrayLike,
    efficiency_share: ArrayLike,
    *,
    values: Sheet = VALUES,
) -> FloatArray:
    """Return the input power that heats a flow of water, W.

    Notes
    -----
    In US units kW = gpm x 8.34 x 60 x dT(F) / 3412 / eff, the same balance with water of
    1 Btu per pound and degree.

    Raises
    ------
    InputError
        For a negative flow or rise, or an efficiency not over 0.

    Examples
    --------
    >>> gpm = 6.30901964e-05
    >>> round(float(compute_heater_power(10 * gpm, 60 / 1.8, 1.0)) / 1000, 1)
    88.0
    """
    flow = _floats("heated flow", flow_m3s, "m3/s")
    rise = _floats("temperature rise", rise_k, "K")
    efficiency = _floats("heater efficiency", efficiency_share, "share", positive=True)
    return np.asarray(values.value("water_heat_jm3k") * flow * rise / efficiency)


def compute_reject_flow(permeate_m3: ArrayLike, reject_share: ArrayLike) -> FloatArray:
    """Return the water sent away while making spot-free water, in the permeate's unit.

    Notes
    -----
    reject = permeate x s / (1 - s), s the rejected share of the feed.

    Raises
    ------
    InputError
        When the share is not within 0 to less than 1.

    Examples
    --------
    >>> round(float(compute_reject_flow(6.0, 0.4)), 9)
    4.0
    """
    permeate = _floats("spot-free water", permeate_m3, "m3")
    share = _floats("reject share", reject_share, "share")
    if (share >= 1).any():
        raise InputError(f"reject share must be under 1, got {share.max()}; give 0.25 to 0.6")
    return np.asarray(permeate * share / (1.0 - share))
