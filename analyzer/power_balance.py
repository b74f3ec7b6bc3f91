"""What height does the energy spent along the way say, before any height was read?

m g dh = work at the wheel - m g C_rr ds - 1/2 rho C_dA v^2 ds - d(1/2 m_eff v^2), and the work at
the wheel is what left the pack for the drives less what motors and controllers lost. Every term
is known but for its parameter, so the height is linear in the parameters. Sources: Gillespie,
Fundamentals of Vehicle Dynamics, 1992 (road load); copper loss R i^2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.drive_fit import DriveFit, fit_drive
from analyzer.height_fit import Lean
from analyzer.height_profile import cells_for
from analyzer.quantities import Bools, Floats, drive_channel, pack_voltage_v
from analyzer.road_force import GRAVITY_MPS2, air_density
from analyzer.way import STANDING_MPS, Way
from importers.ride import Ride
from importers.setup_types import Setup

SLOT_S = 1.0
"""Energies are summed over slots of this [s]. Our choice: longer than any filter in the logs."""

EFFICIENCY, EFFICIENCY_SD = 0.92, 0.04
"""Battery to wheel without copper loss: controller, iron, belt. Common practice, no source."""
COPPER_SHARE, COPPER_SHARE_SD = 0.10, 0.10
"""Part of the driving energy lost in copper, over a ride. Common practice, no source."""
GEARED, GEARED_SD, GEARED_RETURN = 0.96, 0.035, 1.04
"""Behind the copper loss, where the drive's own log tells that: belt or gear, iron. Common
practice, no source."""
RETURN, RETURN_SD = 1.10, 0.08
"""Wheel energy per energy that comes back while braking. Common practice, no source."""
ROLLING, ROLLING_SD = 0.014, 0.006
"""Rolling coefficient of small tyres: 0.004 to 0.035. Sources: Carvill 1993 (new asphalt 0.01,
worn 0.02); Stilwell et al. 2023, Proc. Design Society (scooter tyres about 0.018 to 0.030)."""
DRIVE_DRAG_N, DRIVE_DRAG_SD_N = 4.0, 2.5
"""What one turning, unpowered drive holds back at the wheel (bearings, iron, belt) [N]. Common
practice, no source: 10 to 35 W at 5 m/s."""
DRAG_M2, DRAG_SD_M2 = 0.60, 0.20
"""Drag area of a seated or standing rider: 0.25 to 1.0 m2. Sources: Hoerner 1965 (0.56 seated,
0.84 standing); Tengattini 2017 (557 cyclists, 0.559, sd 0.170)."""
TURNING, TURNING_SD = 1.05, 0.03
"""Effective over real mass: turning wheels and rotors. Common practice, no source."""
GIVEN_SD = 0.05
"""A coefficient the rider gives is taken to be right within this part. Our choice."""
UNKNOWN_MASS_KG = 150.0
"""Stands for the mass where only defaults are asked for [kg]. Our choice."""
MASS_SD = 0.04
"""So is the mass (one sd). Our choice: a rider's clothes, bag and water."""
UNSURE, BRAKED, HIDDEN_PART = 100.0, 30.0, 0.01
"""By what factor the balance's error (its variance) grows where the mechanical brake may be all
that acts, and where it may act beside the motors; cells with less than the last of the first kind
are known. Our choice, checked by benchmarks/tables/hills_truth.py."""
BRAKES_W = 30.0
"""More than this going back is braking, not coasting [W]. Our choice."""
MECHANICAL_BRAKE_MPS2 = 0.35
"""Losing speed faster than this without drive, the mechanical brake may be on [m/s2]. Our choice:
above rolling and drag of any of these vehicles, below any braking one notices."""


@dataclass(frozen=True, slots=True, eq=False)
class PowerBalance:
    """Heights by energy at the ends of n slots along one way, per parameter, cumulated."""

    names: tuple[str, ...]
    place_m: Floats
    """n + 1 places, never falling."""
    height_m: Floats
    """(n + 1, k) metres of height per unit of each parameter."""
    expected: Floats
    sd: Floats
    braking: Bools
    """n: slots in which energy goes back; what the mechanical brake takes beside is not known."""
    unsure: Bools
    """n: slots in which the mechanical brake may have taken energy no log shows."""
    energy_scale: tuple[float, ...]
    """Per drive-side parameter: what one unit of it is worth in joules, for `road_load`."""
    has_phase: bool
    mass_kg: float
    drives: tuple[DriveFit, ...] = ()

    def lean(self, length_m: float) -> Lean:
        """The same at the places of a height profile."""
        cell_m, m = cells_for(length_m)
        grid = np.arange(m) * cell_m
        k = len(self.names)
        place = self.place_m + np.arange(self.place_m.size) * 1e-9
        columns = np.column_stack([np.interp(grid, place, self.height_m[:, j]) for j in range(k)])

        def part(which: Bools) -> Floats:
            along = np.concatenate([[0.0], np.cumsum(np.diff(place) * which)])
            share = np.diff(np.interp(grid, place, along)) / cell_m
            return np.asarray(np.clip(share, 0.0, 1.0), np.float64)

        hidden, braked = part(self.unsure), part(self.braking)
        sure = 1.0 / (1.0 + UNSURE * hidden + BRAKED * braked)
        precision = 1.0 / self.sd**2
        return Lean(columns, self.expected, precision, sure, np.asarray(hidden < HIDDEN_PART))


@dataclass(frozen=True, slots=True, eq=False)
class _Slots:
    """One way cut into slots of about a second."""

    index: np.ndarray
    count: int
    step_s: Floats
    time_s: Floats
    """n + 1 slot edges."""
    place_m: Floats
    speed_mps: Floats
    """n + 1, at the edges."""


def power_balance(ride: Ride, setup: Setup, way: Way) -> PowerBalance | None:
    """The way's heights by energy, or None without mass, drive power and enough of a ride."""
    mass = ride.facts.mass_kg or setup.vehicle.mass_kg
    power = drive_power_w(ride, setup)
    if mass is None or power is None or way.last - way.first < 20:
        return None
    slots = _slots(ride, way)
    if slots is None:
        return None
    volts_amps = power[way.rows]
    known = np.isfinite(volts_amps)
    if known.mean() < 0.5:
        return None
    watts = np.where(known, volts_amps, 0.0)
    out_j = _sum(np.clip(watts, 0.0, None), slots)
    back_j = _sum(np.clip(-watts, 0.0, None), slots)
    moved = np.diff(slots.place_m)
    weight_n = mass * GRAVITY_MPS2
    dark = _sum((~known).astype(np.float64), slots) > 0.5 * np.diff(slots.time_s)
    fits = tuple(fit_drive(ride, setup, drive) for drive in setup.drive_names)
    copper, has_phase = _copper(ride, setup, way, slots, out_j, fits)
    total = max(float(out_j.sum()), 1.0)
    scale = total / max(float(copper.sum()), 1e-9)
    height = _mean_height(ride, way)
    kinetic = np.diff(0.5 * mass * slots.speed_mps**2)
    drag_j = 0.5 * float(air_density(height)) * _mean_square(slots) * moved
    unsure = _unsure(slots, out_j, back_j) | dark
    parts = (
        np.column_stack([out_j, -copper * scale, -back_j, -weight_n * moved, -drag_j, -kinetic])
        / weight_n
    )
    # the brake's share of a slot is not known: none of its energy may count as height
    parts[unsure] = 0.0
    cumulated = np.vstack([np.zeros(parts.shape[1]), np.cumsum(parts, axis=0)])
    expected, sd = before_the_ride(setup, mass)
    if all(fits):  # the drives' own logs tell their copper loss, up to the current's gain
        share = float(copper.sum()) / total
        expected[:3] = [GEARED, GEARED * share, GEARED_RETURN]
        sd[:3] = [GEARED_SD, 0.2 * share + 0.005, GEARED_SD]
    return PowerBalance(
        names=("efficiency", "copper_share", "return", "rolling", "drag_m2", "turning"),
        place_m=slots.place_m,
        height_m=cumulated,
        expected=expected,
        sd=sd,
        braking=np.asarray(back_j > BRAKES_W * np.diff(slots.time_s), np.bool_),
        unsure=np.asarray(unsure & (moved > 0), np.bool_),
        energy_scale=(scale, total),
        has_phase=has_phase,
        mass_kg=mass,
        drives=tuple(one for one in fits if one is not None),
    )


def drive_power_w(ride: Ride, setup: Setup) -> Floats | None:
    """What the drives take from the pack [W] (n values); from the pack's current less what it
    gives at a standstill where the drives' own are not logged."""
    voltage = pack_voltage_v(ride, setup)
    if voltage is None:
        return None
    total: Floats | None = None
    for drive in setup.drive_names:
        current = drive_channel(ride, drive, "battery_current_a")
        if current is None:
            total = None
            break
        own = drive_channel(ride, drive, "battery_voltage_v")
        power = current * (voltage.values if own is None else own)
        total = power if total is None else total + power
    if total is not None:
        return total
    logged = ride.get("pack_current_a")
    if logged is None:
        return None
    return np.asarray(logged * voltage.values - _standing_w(ride, setup, logged * voltage.values))


def _standing_w(ride: Ride, setup: Setup, power: Floats) -> float:
    from analyzer.quantities import speed_mps

    speed = speed_mps(ride, setup)
    if speed is not None:
        still = (np.abs(speed.values) < STANDING_MPS / 2) & np.isfinite(power)
        if still.sum() > 20:
            return max(float(np.median(power[still])), 0.0)
    return (setup.pack.aux_a or 0.0) * float(np.nanmedian(setup.full_v))


def _slots(ride: Ride, way: Way) -> _Slots | None:
    time_s = ride.time_s[way.rows]
    # a hole longer than a slot is a slot of its own, its energy unknown
    number = np.floor((time_s - time_s[0]) / SLOT_S).astype(np.intp)
    edge = np.flatnonzero(np.diff(number, prepend=-1))
    if edge.size < 10:
        return None
    index = np.cumsum(np.diff(number, prepend=-1) > 0) - 1
    step = np.diff(time_s, append=time_s[-1])
    step[step > ride.gap_s] = 0.0
    ends = np.append(edge, time_s.size - 1)
    return _Slots(index, edge.size, step, time_s[ends], way.distance_m[ends], way.speed_mps[ends])


def _sum(values: Floats, slots: _Slots) -> Floats:
    return np.asarray(np.bincount(slots.index, values * slots.step_s, slots.count), np.float64)


def _mean_square(slots: _Slots) -> Floats:
    v = slots.speed_mps
    return np.asarray((v[1:] ** 2 + v[1:] * v[:-1] + v[:-1] ** 2) / 3.0, np.float64)


def _mean_height(ride: Ride, way: Way) -> float:
    altitude = ride.get("altitude_m")
    if altitude is None or not np.isfinite(altitude[way.rows]).any():
        return 200.0
    return float(np.clip(np.nanmedian(altitude[way.rows]), -400.0, 5000.0))


def _copper(
    ride: Ride,
    setup: Setup,
    way: Way,
    slots: _Slots,
    out_j: Floats,
    fits: tuple[DriveFit | None, ...],
) -> tuple[Floats, bool]:
    """The copper loss, or something proportional to it: phase current squared where it is logged,
    else (power / speed) squared, since torque is power over speed."""
    if fits and all(fits):
        lost: Floats | None = None
        for fit in fits:
            assert fit is not None
            phase = drive_channel(ride, fit.drive, "phase_current_a")
            assert phase is not None
            size = np.abs(np.nan_to_num(phase[way.rows]))
            own = (fit.ohm * size + fit.drop_v) * size
            lost = own if lost is None else lost + own
        assert lost is not None
        return _sum(lost, slots), True
    squares: Floats | None = None
    for drive in setup.drive_names:
        phase = drive_channel(ride, drive, "phase_current_a")
        if phase is None:
            squares = None
            break
        own = np.nan_to_num(phase[way.rows]) ** 2
        squares = own if squares is None else squares + own
    if squares is not None and float(squares.max()) > 1.0:
        return _sum(squares, slots), True
    span = np.diff(slots.time_s)
    speed = np.maximum(0.5 * (slots.speed_mps[1:] + slots.speed_mps[:-1]), 1.0)
    force = out_j / np.maximum(span, 1e-6) / speed
    return np.asarray(force**2 * span, np.float64), False


def _unsure(slots: _Slots, out_j: Floats, back_j: Floats) -> Bools:
    """Slots in which the mechanical brake may be on, or in which samples are missing."""
    span = np.maximum(np.diff(slots.time_s), 1e-6)
    change = np.diff(slots.speed_mps) / span
    speed = 0.5 * (slots.speed_mps[1:] + slots.speed_mps[:-1])
    driving = out_j > 0.15 * np.median(out_j[out_j > 0]) if bool((out_j > 0).any()) else out_j > 0
    braking = (change < -MECHANICAL_BRAKE_MPS2) & ~driving
    known_s = np.bincount(slots.index, slots.step_s, slots.count)
    hole = known_s < 0.5 * span
    # braking gently downhill cannot be told from coasting on the flat: any return is doubtful
    # only while speed falls
    return np.asarray((braking & (speed > STANDING_MPS)) | hole, np.bool_)


def before_the_ride(setup: Setup, mass_kg: float) -> tuple[Floats, Floats]:
    """What is known of the parameters before the ride: expected values and sds."""
    rolling, rolling_sd = ROLLING, ROLLING_SD
    drag, drag_sd = DRAG_M2, DRAG_SD_M2
    if setup.vehicle.rolling_coefficient is not None:
        rolling = setup.vehicle.rolling_coefficient
        rolling_sd = GIVEN_SD * rolling + 1e-4
    if setup.vehicle.drag_area_m2 is not None:
        drag = setup.vehicle.drag_area_m2
        drag_sd = GIVEN_SD * drag + 1e-3
    # unpowered drives drag, too, and on the road that cannot be told from rolling
    drives = len(setup.drives) / (mass_kg * GRAVITY_MPS2)
    rolling += drives * DRIVE_DRAG_N
    rolling_sd = float(np.hypot(rolling_sd, drives * DRIVE_DRAG_SD_N))
    expected = np.array([EFFICIENCY, COPPER_SHARE, RETURN, rolling, drag, TURNING])
    sd = np.array([EFFICIENCY_SD, COPPER_SHARE_SD, RETURN_SD, rolling_sd, drag_sd, TURNING_SD])
    return expected, sd
