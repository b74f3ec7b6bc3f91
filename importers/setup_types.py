"""The setup of a build as typed values: what the rider wrote, nothing worked out from it.

A limit that was not given is `None` and is not checked. All currents are positive numbers here;
the direction is in the name (`drive`, `brake`, `charge`, `discharge`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray


class Chemistry(StrEnum):
    """Cell chemistries with a built-in rest-voltage curve, and `other`."""

    NMC = "nmc"
    NCA = "nca"
    LFP = "lfp"
    LCO = "lco"
    OTHER = "other"


class Ports(StrEnum):
    """Whether braking current passes the BMS's charge protection."""

    COMMON = "common"
    SEPARATE = "separate"


@dataclass(frozen=True, slots=True, eq=False)
class RestVoltageCurve:
    """Volts per cell after long rest, against state of charge as the *curve* counts it (0 to 1).

    `analyzer.rest_voltage` rescales it to the pack's own `cell_empty_v` and `cell_full_v`.
    """

    state_of_charge: NDArray[np.float64]
    volts_per_cell: NDArray[np.float64]
    source: str
    built_in: bool = True


@dataclass(frozen=True, slots=True)
class Vehicle:
    """The vehicle as usually ridden."""

    name: str | None = None
    mass_kg: float | None = None
    wheel_diameter_m: float | None = None
    gear_ratio: float | None = None
    """Motor turns per wheel turn; already worked out from teeth where the file gives teeth."""
    driving_teeth: int | None = None
    driven_teeth: int | None = None
    pole_pairs: int | None = None
    rolling_coefficient: float | None = None
    drag_area_m2: float | None = None


@dataclass(frozen=True, slots=True)
class Pack:
    """The lithium pack."""

    chemistry: Chemistry
    series: int
    capacity_ah: float
    name: str | None = None
    in_service_since: date | None = None
    parallel: int | None = None
    cell_full_v: float | None = None
    cell_empty_v: float | None = None
    discharge_rating_a: float | None = None
    charge_rating_a: float | None = None
    discharge_peak_a: float | None = None
    discharge_peak_s: float | None = None
    charge_peak_a: float | None = None
    charge_peak_s: float | None = None
    min_charge_temp_c: float | None = None
    aux_a: float | None = None
    rest_voltage_curve: str | None = None
    """The file name as written in the setup; the curve itself is `Setup.curve`."""


@dataclass(frozen=True, slots=True)
class Bms:
    """What the battery management system allows through."""

    discharge_rating_a: float | None = None
    charge_rating_a: float | None = None
    discharge_peak_a: float | None = None
    discharge_peak_s: float | None = None
    charge_peak_a: float | None = None
    charge_peak_s: float | None = None
    discharge_trip_a: float | None = None
    discharge_trip_delay_s: float | None = None
    charge_trip_a: float | None = None
    charge_trip_delay_s: float | None = None
    cell_low_v: float | None = None
    cell_high_v: float | None = None
    ports: Ports | None = None


@dataclass(frozen=True, slots=True)
class Wiring:
    """Fuse and connector between pack and controllers."""

    fuse_a: float | None = None
    connector_rating_a: float | None = None


@dataclass(frozen=True, slots=True)
class Drive:
    """One motor controller with its motor, limits as set on the controller."""

    name: str
    phase_drive_a: float | None = None
    phase_brake_a: float | None = None
    battery_drive_a: float | None = None
    battery_brake_a: float | None = None
    derate_from_v: float | None = None
    stop_at_v: float | None = None
    overvoltage_v: float | None = None
    controller_derate_c: float | None = None
    controller_stop_c: float | None = None
    motor_derate_c: float | None = None
    motor_stop_c: float | None = None
    same_as: str | None = None
    follows: str | None = None


@dataclass(frozen=True, slots=True)
class Hill:
    """A climb the rider has a name for."""

    name: str
    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True, slots=True)
class Setup:
    """One build: everything the setup file says, checked."""

    pack: Pack
    drives: tuple[Drive, ...]
    curve: RestVoltageCurve
    vehicle: Vehicle = field(default_factory=Vehicle)
    bms: Bms = field(default_factory=Bms)
    wiring: Wiring = field(default_factory=Wiring)
    hills: tuple[Hill, ...] = ()
    logger_powered_by: str | None = None
    fault_words: tuple[tuple[str, str], ...] = ()
    """(code as logged, cause word) pairs."""
    file: str = ""
    """The file as it was typed, for messages and reports."""
    curve_family: tuple[RestVoltageCurve, ...] = ()
    """Every published curve of the chemistry, the default first: how far cells of one name lie
    apart. A curve of the rider's own stands alone."""
    notes: tuple[tuple[str, str], ...] = ()
    """(key, text) pairs: which values were not given and what is used instead."""
    text: str = ""
    """The file's TOML text, kept with a ride so that old rides keep their own limits."""
    key_homes: tuple[tuple[str, str], ...] = ()
    """(resolved key, key where the value stands): `drives.right.battery_drive_a` ->
    `drives.left.battery_drive_a` under `same_as`; only keys whose home differs are listed."""

    @property
    def drive_names(self) -> tuple[str, ...]:
        """The drives' names in the file's order."""
        return tuple(drive.name for drive in self.drives)

    @property
    def cell_full_v(self) -> float:
        """Volts per cell at rest that count as 100 %: the setup's, else the curve's last row."""
        given = self.pack.cell_full_v
        return float(self.curve.volts_per_cell[-1]) if given is None else given

    @property
    def cell_empty_v(self) -> float:
        """Volts per cell at rest that count as 0 %: the setup's, else the curve's first row."""
        given = self.pack.cell_empty_v
        return float(self.curve.volts_per_cell[0]) if given is None else given

    @property
    def full_v(self) -> float:
        """Pack volts at rest when full."""
        return self.cell_full_v * self.pack.series

    @property
    def empty_v(self) -> float:
        """Pack volts at rest when empty."""
        return self.cell_empty_v * self.pack.series

    def drive(self, name: str) -> Drive:
        """The drive of that name; `KeyError` when there is none."""
        for one in self.drives:
            if one.name == name:
                return one
        raise KeyError(name)

    def home(self, key: str) -> str:
        """The key at which a value stands in the file, `same_as` resolved."""
        return dict(self.key_homes).get(key, key)
