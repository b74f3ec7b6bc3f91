"""Setups for tests: from text, without a file."""

from importers.setup_file import parse_setup
from importers.setup_types import Setup

TRIKE = """\
[vehicle]
name = "cargo trike"
mass_kg = 310.0
wheel_diameter_m = 0.508
gear_ratio = 9.5
pole_pairs = 7

[pack]
chemistry = "nmc"
series = 16
parallel = 6
capacity_ah = 21.0
cell_full_v = 4.20
cell_empty_v = 2.80
discharge_rating_a = 60.0
charge_rating_a = 10.5
min_charge_temp_c = 0.0
aux_a = 1.0

[bms]
discharge_rating_a = 40.0
charge_rating_a = 15.0
discharge_trip_a = 50.0
discharge_trip_delay_s = 1.5
charge_trip_a = 25.0
charge_trip_delay_s = 1.0
cell_low_v = 2.70
cell_high_v = 4.25
ports = "common"

[wiring]
fuse_a = 60.0
connector_rating_a = 60.0

[drives.left]
phase_drive_a = 55.0
phase_brake_a = 30.0
battery_drive_a = 17.5
battery_brake_a = 4.5
derate_from_v = 52.8
stop_at_v = 48.0
overvoltage_v = 67.6
controller_derate_c = 80.0
controller_stop_c = 95.0
motor_derate_c = 100.0
motor_stop_c = 120.0

[drives.right]
same_as = "left"
"""
"""A cargo trike whose limits fit together: 2 x 17.5 A and 1 A of lights under a 40 A BMS."""


def setup_of(text: str = TRIKE, file: str = "setup.toml") -> Setup:
    """The setup of a TOML text."""
    return parse_setup(text, file)
