"""What must be piped and wired: water, power, heat, air and noise of a line."""

from capture.utilities.electric import (
    FULL_LOAD_A,
    SERVICE_STEPS_A,
    Motor,
    compute_apparent_power,
    compute_feeder_amps,
    compute_full_load_amps,
    compute_phase_amps,
    round_up_motor,
    size_service,
)
from capture.utilities.figures import CAUTIONS, Figure
from capture.utilities.hydraulics import (
    compute_heater_power,
    compute_nozzle_flow,
    compute_pump_power,
    compute_reject_flow,
    compute_reynolds,
    compute_settling_speed,
    compute_tank_area,
)
from capture.utilities.motors import Pump, Service, list_motors, list_pumps, size_power
from capture.utilities.sizing import Utilities, size_utilities
from capture.utilities.surroundings import (
    Meter,
    add_levels,
    compute_compressor_power,
    compute_noise_level,
    compute_quiet_distance,
    pick_meter,
    size_compressor,
)
from capture.utilities.timeline import Timeline, compute_timeline, spread_entries
from capture.utilities.usage import Usage, compute_usage
from capture.utilities.values import VALUES

__all__ = [
    "CAUTIONS",
    "FULL_LOAD_A",
    "SERVICE_STEPS_A",
    "VALUES",
    "Figure",
    "Meter",
    "Motor",
    "Pump",
    "Service",
    "Timeline",
    "Usage",
    "Utilities",
    "add_levels",
    "compute_apparent_power",
    "compute_compressor_power",
    "compute_feeder_amps",
    "compute_full_load_amps",
    "compute_heater_power",
    "compute_noise_level",
    "compute_nozzle_flow",
    "compute_phase_amps",
    "compute_pump_power",
    "compute_quiet_distance",
    "compute_reject_flow",
    "compute_reynolds",
    "compute_settling_speed",
    "compute_tank_area",
    "compute_timeline",
    "compute_usage",
    "list_motors",
    "list_pumps",
    "pick_meter",
    "round_up_motor",
    "size_compressor",
    "size_power",
    "size_service",
    "size_utilities",
    "spread_entries",
]
