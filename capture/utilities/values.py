"""Which numbers do water, power, heat, air and noise stand on?

Handbook constants carry their source; trade values are marked as practice. All of them
are planning figures: a licensed designer replaces them with the real equipment's.
"""

from __future__ import annotations

from typing import Final

from capture.basis import Sheet, Sourced, fixed, practice
from capture.basis.units import M_PER_FT, PA_PER_PSI


def _exact(name: str, value: float, unit: str, meaning: str, source: str, locator: str) -> Sourced:
    return fixed(name, value, unit, meaning, source, locator, "exact")


_WATER: Final = "Perry's Chemical Engineers' Handbook (from memory)"
_CODE: Final = "NFPA 70, National Electrical Code"

#: least and most that an own value may be, where unit and spread do not say it
_PERMITTED: Final = {
    "power_factor": (0.3, 1.0),
    "softened_share": (0.0, 1.0),
    "reject_share": (0.0, 0.95),
    # water that holds salt, and grit from sand to metal
    "water_density_kgm3": (900.0, 1300.0),
    "grit_density_kgm3": (1400.0, 9000.0),
}

VALUES: Final = Sheet(
    "utilities",
    [
        # water
        practice("car_length_m", 4.3, 4.9, 5.6, "m", "length of a car over its bumpers"),
        practice(
            "water_use_factor", 0.7, 1.0, 1.4, "1", "water that a built line uses against its list"
        ),
        practice("carry_off_share", 0.08, 0.15, 0.25, "share", "water that leaves unsewered"),
        practice("reject_share", 0.25, 0.40, 0.60, "share", "spot-free feed sent away as reject"),
        practice("softened_share", 0.2, 0.5, 1.0, "1", "of fresh water that is softened"),
        practice("softener_waste_share", 0.03, 0.06, 0.12, "share", "of it used to regenerate"),
        practice("pump_efficiency_share", 0.55, 0.70, 0.85, "share", "shaft to water, pumps"),
        practice("motor_efficiency_share", 0.85, 0.92, 0.95, "share", "wire to shaft, motors"),
        # settling
        _exact(
            "gravity_mps2",
            9.80665,
            "m/s2",
            "standard acceleration of free fall",
            "NIST SP 811",
            "Appendix B.8",
        ),
        fixed(
            "water_density_kgm3",
            998.2,
            "kg/m3",
            "water at 20 C",
            _WATER,
            "water, 20 C",
            grade="memory",
        ),
        fixed(
            "water_viscosity_pas",
            1.002e-3,
            "Pa s",
            "water at 20 C",
            _WATER,
            "water, 20 C",
            grade="memory",
        ),
        fixed(
            "grit_density_kgm3",
            2648.0,
            "kg/m3",
            "quartz",
            "CRC Handbook of Chemistry and Physics (from memory)",
            "minerals",
            grade="memory",
        ),
        practice("grit_diameter_m", 30e-6, 50e-6, 75e-6, "m", "smallest grain the tank must keep"),
        practice("tank_area_factor", 1.5, 2.0, 3.0, "1", "tank area over the ideal tank's"),
        practice("tank_depth_m", 1.2, 1.5, 2.1, "m", "water depth of a settling tank"),
        practice("tank_stay_s", 900.0, 1800.0, 3600.0, "s", "least stay of water in the tanks"),
        # heat
        _exact(
            "water_heat_jm3k",
            4.1868e6,
            "J/m3/K",
            "one calorie a gram and kelvin at 1000 kg/m3",
            "International Table calorie, NIST SP 811",
            "Appendix B.8",
        ),
        practice("heated_share", 0.0, 0.15, 0.35, "share", "part of the fresh water heated"),
        practice("heat_rise_k", 17.0, 25.0, 39.0, "K", "temperature rise of heated water"),
        practice("heater_efficiency_share", 0.78, 0.85, 0.96, "share", "fuel to water, heater"),
        # power
        practice("power_factor", 0.82, 0.88, 0.93, "1", "of the running motors together"),
        practice("motor_load_share", 0.65, 0.80, 0.95, "share", "of rated power while running"),
        practice("other_continuous_w", 5e3, 12e3, 30e3, "W", "lights, controls, heat trace"),
        practice("other_short_w", 2e3, 6e3, 15e3, "W", "office, gates, outlets"),
        practice("vacuum_w_bay", 900.0, 1500.0, 2500.0, "W", "vacuum power per bay, producing"),
        practice("vacuum_run_s", 240.0, 360.0, 600.0, "s", "vacuum run per car that uses it"),
        practice("vacuum_user_share", 0.25, 0.40, 0.60, "share", "of cars that use the vacuums"),
        practice("bay_flow_m3s", 0.0013, 0.0019, 0.0030, "m3/s", "water of an in-bay machine"),
        practice("bay_pressure_pa", 4e6, 6e6, 8e6, "Pa", "pressure of an in-bay machine"),
        practice("bay_power_w", 12e3, 22e3, 40e3, "W", "rated power of an in-bay machine"),
        practice("bay_run_share", 0.2, 0.28, 0.4, "share", "of the time in a bay, water running"),
        practice("self_flow_m3s", 0.00019, 0.00025, 0.00032, "m3/s", "water of a wand bay"),
        practice("self_pressure_pa", 6e6, 8e6, 9e6, "Pa", "pressure of a wand bay"),
        practice("self_power_w", 2.2e3, 3.7e3, 5.6e3, "W", "rated power of a wand bay"),
        practice("self_run_share", 0.25, 0.35, 0.5, "share", "of the time in a bay, water running"),
        practice("vacuum_bays", 12.0, 18.0, 28.0, "count", "vacuum bays of a conveyor site"),
        practice("demand_share", 0.70, 0.85, 0.95, "share", "15-minute demand over all running"),
        practice("standby_w", 1.5e3, 3e3, 8e3, "W", "power while closed, around the clock"),
        fixed(
            "feeder_motor_factor", 1.25, "1", "on the largest motor of a feeder", _CODE, "430.24"
        ),
        fixed(
            "feeder_continuous_factor",
            1.25,
            "1",
            "on loads that run three hours or more",
            _CODE,
            "215.2(A)(1)",
        ),
        fixed(
            "drive_input_factor",
            1.25,
            "1",
            "on the rated input current of a drive",
            _CODE,
            "430.122",
        ),
        practice("service_spare_share", 0.10, 0.25, 0.40, "share", "spare capacity of a service"),
        practice("dryer_motor_w", 5.6e3, 7.457e3, 11.2e3, "W", "one dryer's motor"),
        practice("pump_motor_w", 7.5e3, 18.64e3, 30e3, "W", "largest single pump motor"),
        practice("drive_motor_w", 3.7e3, 7.457e3, 11.2e3, "W", "largest other motor"),
        # air
        practice(
            "air_spread", 1.0, 1.3, 2.0, "1", "air for valves, doors and leaks over the foam's"
        ),
        practice("bay_air_m3s", 0.001, 0.002, 0.004, "m3/s", "free air of one bay"),
        practice(
            "air_pressure_pa",
            80 * PA_PER_PSI,
            100 * PA_PER_PSI,
            125 * PA_PER_PSI,
            "Pa",
            "gauge pressure of the air supply",
        ),
        practice("air_duty_share", 0.5, 0.65, 0.8, "share", "of the time a compressor runs"),
        practice("compressor_efficiency_share", 0.55, 0.70, 0.80, "share", "ideal over shaft work"),
        _exact(
            "atmosphere_pa", 101_325.0, "Pa", "standard atmosphere", "NIST SP 811", "Appendix B.8"
        ),
        fixed(
            "air_heat_ratio",
            1.4,
            "1",
            "ratio of specific heats of air",
            "gas tables (from memory)",
            "air, 20 C",
            grade="memory",
        ),
        # noise
        practice("dryer_level_db", 74.0, 82.0, 92.0, "dB", "level of one dryer at the reference"),
        fixed(
            "dryer_reference_m",
            10 * M_PER_FT,
            "m",
            "distance at which the dryer's level is said",
            "our own choice",
            "ten feet",
            grade="invented",
        ),
        practice("noise_limit_db", 50.0, 55.0, 65.0, "dB", "usual night or home-side limit"),
    ],
    permitted=_PERMITTED,
)
