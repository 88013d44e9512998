"""Which factor turns a trade unit into SI, and how is a number said in either system?

Everything inside is SI with the unit in the name; these functions stand at the edge.
Factors are exact by definition (International Yard and Pound Agreement, 1959; US
liquid gallon of 231 cubic inches; NIST SP 811, Appendix B).
"""

from __future__ import annotations

from typing import Final, Literal

UnitSystem = Literal["us", "metric"]

M_PER_FT: Final = 0.3048
M_PER_MILE: Final = 1609.344
MPS_PER_MPH: Final = 0.44704
MPS_PER_KMH: Final = 1 / 3.6
MPS_PER_FT_PER_MIN: Final = 0.3048 / 60
M3_PER_GALLON: Final = 0.003785411784
L_PER_GALLON: Final = 3.785411784
M3S_PER_GPM: Final = M3_PER_GALLON / 60
PA_PER_PSI: Final = 6894.757293168361
W_PER_HP: Final = 745.6998715822702
M2_PER_ACRE: Final = 4046.8564224
M2_PER_FT2: Final = 0.09290304
J_PER_BTU: Final = 1055.05585262

#: SI unit -> (US unit, SI amount of one US unit, metric unit, SI amount of one metric unit)
_EDGE: Final[dict[str, tuple[str, float, str, float]]] = {
    "m": ("ft", M_PER_FT, "m", 1.0),
    "km": ("mi", M_PER_MILE / 1000, "km", 1.0),
    "mps": ("mph", MPS_PER_MPH, "km/h", MPS_PER_KMH),
    "chain_mps": ("ft/min", MPS_PER_FT_PER_MIN, "m/min", 1 / 60),
    "m2": ("ft²", M2_PER_FT2, "m²", 1.0),
    "m3": ("gal", M3_PER_GALLON, "L", 0.001),
    "m3s": ("gpm", M3S_PER_GPM, "L/min", 0.001 / 60),
    "pa": ("psi", PA_PER_PSI, "bar", 1e5),
    "w": ("hp", W_PER_HP, "kW", 1000.0),
}


def convert_out(amount: float, si_unit: str, system: UnitSystem) -> tuple[float, str]:
    """Turn an SI amount into the unit that the user reads.

    Parameters
    ----------
    amount : float
        In ``si_unit``.
    si_unit : str
        A key such as ``"m"``, ``"mps"``, ``"chain_mps"``; any other unit passes unchanged.
    system : {"us", "metric"}
        What the user reads.

    Returns
    -------
    tuple of (float, str)
        Amount and unit label.

    Examples
    --------
    >>> convert_out(36.576, "m", "us")
    (120.0, 'ft')
    >>> convert_out(20.0, "mps", "metric")
    (72.0, 'km/h')
    """
    if si_unit not in _EDGE:
        return amount, si_unit
    us_label, us_size, metric_label, metric_size = _EDGE[si_unit]
    label, size = (us_label, us_size) if system == "us" else (metric_label, metric_size)
    return amount / size, label


def convert_in(amount: float, si_unit: str, system: UnitSystem) -> float:
    """Turn an amount in the unit that the user types into SI; inverse of :func:`convert_out`.

    Examples
    --------
    >>> round(convert_in(45, "chain_mps", "us"), 6)
    0.2286
    """
    if si_unit not in _EDGE:
        return amount
    _, us_size, _, metric_size = _EDGE[si_unit]
    return amount * (us_size if system == "us" else metric_size)
