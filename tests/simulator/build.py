"""What is simulated: one build as it really is, and what its owner wrote into the setup.

Where the two differ on purpose (a setting not in force, a tyre worn), `Drive.said` holds what the
setup claims.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from simulator import records
from simulator.own_curve import grid_curve

NEVER = 1e9


@dataclass(frozen=True)
class Cells:
    """The pack. Resistances are of the whole pack at 25 °C and mid charge [ohm]."""

    curve: str = "nmc532_mohtat2020"
    series: int = 14
    parallel: int = 6
    rated_ah: float = 19.2
    capacity_ah: float = 18.6
    """What is really there between rest at empty and at full."""
    empty_v: float = 2.9
    full_v: float = 4.2
    r0: float = 0.038
    r1: float = 0.021
    r2: float = 0.016
    tau1: float = 0.9
    tau2: float = 22.0
    ea0: float = 15e3
    ea1: float = 32e3
    ea2: float = 24e3
    i_bend_c: float = 5.0
    """Current at which charge transfer begins to bend, in rated capacities per hour."""
    tau_d: float = 650.0
    low_rise: float = 0.8
    heat_j_k: float = 5200.0
    heat_w_k: float = 1.1
    lead_ohm: float = 0.003
    link_ohm: float = 0.0
    """A contact between groups that worked loose: metal, no warmth in it."""
    aux_a: float = 0.9
    weak_cap: float = 1.0
    weak_r: float = 1.0
    weak_soc: float = 0.0
    """Charge of the weak group above (below when negative) the others at the start (0 to 1)."""
    spread_v: float = 0.006
    discharge_rating_a: float = 60.0
    charge_rating_a: float = 11.0


@dataclass(frozen=True)
class Motor:
    """Direct-current sense: v = kt w + r i."""

    kt: float = 0.125
    ohm: float = 0.062
    drag0: float = 0.10
    drag1: float = 0.0006
    inertia: float = 0.0008
    pole_pairs: int = 7
    wind_j_k: float = 260.0
    wind_case_w_k: float = 3.4
    case_j_k: float = 900.0
    case_air_w_k: float = 1.3
    case_air_v: float = 0.25
    eff: float = 0.95
    """Of belt or gear."""


@dataclass(frozen=True)
class Controller:
    """Limits really in force, and the habits of the box."""

    phase_drive_a: float = 48.0
    phase_brake_a: float = 26.0
    battery_drive_a: float = 24.0
    battery_brake_a: float = 8.0
    derate_from_v: float = 46.5
    stop_at_v: float = 42.5
    overvoltage_v: float = 61.5
    controller_derate_c: float = 78.0
    controller_stop_c: float = 92.0
    motor_derate_c: float = 105.0
    motor_stop_c: float = 125.0
    uv_delay_s: float = 0.05
    uv_hyst_v: float = 1.5
    uv_wait_s: float = 1.0
    uv_release: bool = True
    ov_hyst_v: float = 1.5
    ov_wait_s: float = 0.5
    duty_max: float = 0.95
    slew_up_a_s: float = 250.0
    slew_down_a_s: float = 600.0
    limit_tau_s: float = 0.04
    v_tau_s: float = 0.03
    derate_period_s: float = 0.02
    standby_w: float = 2.5
    drop_v: float = 0.35
    brake_full_mps: float = 1.8
    brake_end_mps: float = 0.7
    gain: float = 1.0
    offset: float = 0.0
    link_tau_s: float = 0.0
    dead_v: float = 13.0
    cap_f: float = 0.0016
    branch_ohm: float = 0.0015
    heat_j_k: float = 330.0
    heat_w_k: float = 0.9
    heat_per_a2: float = 0.008
    heat_hyst_c: float = 8.0
    latch_below_v: float = 0.0
    """How far below `stop_at_v` it switches off altogether; derating is at nothing before."""
    computes_current: bool = False
    """Works its battery current out from motor power instead of measuring it."""


@dataclass(frozen=True)
class DriveSpec:
    """One motor, its controller, its wheel."""

    name: str
    motor: Motor = Motor()
    controller: Controller = Controller()
    side_m: float = 0.0
    """How far left of the middle the wheel runs [m]."""
    tyre: float = 1.0
    """True wheel diameter over the one in the setup."""
    freewheel: bool = False
    follows: str | None = None
    said: dict[str, float] = field(default_factory=dict)
    """What the setup claims where it is not what is in force."""
    keys: tuple[str, ...] | None = None
    """Which keys the setup gives; None for all."""


@dataclass(frozen=True)
class BmsSpec:
    """What the battery management system really does."""

    discharge_rating_a: float = 45.0
    charge_rating_a: float = 18.0
    discharge_trip_a: float = NEVER
    discharge_trip_delay_s: float = 1.0
    charge_trip_a: float = NEVER
    charge_trip_delay_s: float = 1.0
    cell_low_v: float = 2.6
    cell_low_delay_s: float = 1.0
    cell_high_v: float = 4.28
    cell_high_delay_s: float = 1.0
    cell_low_rearm_v: float = 3.0
    cell_high_rearm_v: float = 4.16
    hot_c: float = NEVER
    hot_rearm_c: float = 60.0
    heat_j_k: float = 60.0
    heat_w_k: float = 0.35
    heat_ohm: float = 0.006
    current_tau_s: float = 0.03
    restart_s: float = 8.0
    needs_rest: bool = True
    opens_both: bool = True
    separate_ports: bool = False
    idle_off_s: float = NEVER
    idle_below_a: float = 0.6
    timer_resets: bool = True


@dataclass(frozen=True)
class Body:
    """The vehicle."""

    name: str = "cargo trike"
    mass_kg: float = 245.0
    wheel_diameter_m: float = 0.508
    gear_ratio: float = 8.6
    crr: float = 0.011
    cda_m2: float = 0.72
    grip: float = 0.7
    mech_brake_n: float = 900.0


@dataclass(frozen=True)
class Build:
    """Everything about one build."""

    cells: Cells = Cells()
    drives: tuple[DriveSpec, ...] = ()
    bms: BmsSpec = BmsSpec()
    body: Body = Body()
    fuse_a: float | None = None
    logger_powered_by: str | None = None
    silent: frozenset[str] = frozenset()
    """Setup keys (`bms.discharge_trip_a`) the owner left out."""

    def drive(self, name: str) -> DriveSpec:
        return next(d for d in self.drives if d.name == name)

    def with_drive(self, name: str, **changes: Any) -> Build:
        """The same build with fields of one drive changed."""
        return replace(
            self, drives=tuple(replace(d, **changes) if d.name == name else d for d in self.drives)
        )

    def with_controllers(self, **changes: Any) -> Build:
        """The same build with every controller changed alike."""
        return replace(
            self,
            drives=tuple(
                replace(d, controller=replace(d.controller, **changes)) for d in self.drives
            ),
        )

    def with_bms(self, **changes: Any) -> Build:
        return replace(self, bms=replace(self.bms, **changes))

    def with_cells(self, **changes: Any) -> Build:
        return replace(self, cells=replace(self.cells, **changes))

    def with_body(self, **changes: Any) -> Build:
        return replace(self, body=replace(self.body, **changes))

    @property
    def chemistry(self) -> str:
        return self.cells.curve[:3]


def example_trike() -> Build:
    """A two-motor cargo trike, 14 cells in series, both sides alike."""
    return Build(
        drives=(DriveSpec("left", side_m=0.36), DriveSpec("right", side_m=-0.36)),
    )


# ------------------------------------------------------------------ records for the loop


def _set(record: np.ndarray, **values: float) -> None:
    for name, value in values.items():
        record[name] = value


def pack_record(cells: Cells, soc: float, temp_c: float, ambient_c: float) -> np.ndarray:
    """The pack at rest at a state of charge (0 to 1) and temperature."""
    out = np.zeros(1, records.PACK)
    width = 0.02 * 1.7 ** np.arange(records.NODES)
    _set(
        out,
        series=cells.series,
        cap_ah=cells.capacity_ah,
        i_bend_a=cells.i_bend_c * cells.rated_ah,
        ambient_c=ambient_c,
        temp_c=temp_c,
        z=soc,
        zw=soc + cells.weak_soc,
        width=width / width.sum(),
        **{
            k: getattr(cells, k)
            for k in records.PACK_PARAMS.split()
            if hasattr(cells, k) and k not in ("series",)
        },
    )
    return out


def pack_grid(cells: Cells) -> np.ndarray:
    return grid_curve(cells.curve, cells.empty_v, cells.full_v)


def drive_records(build: Build, ambient_c: float, warm_c: float) -> np.ndarray:
    out = np.zeros(len(build.drives), records.DRIVE)
    names = [d.name for d in build.drives]
    for row, spec in zip(out, build.drives, strict=True):
        m, c = spec.motor, spec.controller
        values = dict(
            side_m=spec.side_m, kt=m.kt, r20=m.ohm, drag0=m.drag0, drag1=m.drag1,
            inertia=m.inertia, gear=build.body.gear_ratio,
            radius=build.body.wheel_diameter_m / 2 * spec.tyre, eff=m.eff,
            phase_drive=c.phase_drive_a, phase_brake=c.phase_brake_a,
            batt_drive=c.battery_drive_a, batt_brake=c.battery_brake_a,
            from_v=c.derate_from_v, stop_v=c.stop_at_v, ov_v=c.overvoltage_v,
            ctrl_derate=c.controller_derate_c, ctrl_stop=c.controller_stop_c,
            mot_derate=c.motor_derate_c, mot_stop=c.motor_stop_c,
            uv_delay=c.uv_delay_s, uv_hyst=c.uv_hyst_v, uv_wait=c.uv_wait_s,
            uv_release=c.uv_release, ov_hyst=c.ov_hyst_v, ov_wait=c.ov_wait_s,
            duty_max=c.duty_max, slew_up=c.slew_up_a_s, slew_down=c.slew_down_a_s,
            lim_tau=c.limit_tau_s, v_tau=c.v_tau_s, derate_period=c.derate_period_s,
            standby_w=c.standby_w, drop_v=c.drop_v, brake_full_mps=c.brake_full_mps,
            brake_end_mps=c.brake_end_mps, gain=c.gain, offset=c.offset,
            link_tau=c.link_tau_s, freewheel=spec.freewheel, dead_v=c.dead_v, cap_f=c.cap_f,
            branch_ohm=c.branch_ohm, wind_j_k=m.wind_j_k, wind_case_w_k=m.wind_case_w_k,
            case_j_k=m.case_j_k, case_air_w_k=m.case_air_w_k, case_air_v=m.case_air_v,
            ctrl_j_k=c.heat_j_k, ctrl_w_k=c.heat_w_k, ctrl_per_a2=c.heat_per_a2,
            hot_hyst=c.heat_hyst_c,
            computed=c.computes_current,
            latch_v=c.stop_at_v - c.latch_below_v, grip_n=NEVER, air_c=ambient_c,
            follower=names.index(spec.follows) if spec.follows else -1,
            wind_c=warm_c, case_c=warm_c, ctrl_c=warm_c, mot_seen_c=warm_c, ctrl_seen_c=warm_c,
        )  # fmt: skip
        for key, value in values.items():
            row[key] = value
    return out


def bms_record(build: Build, ambient_c: float) -> np.ndarray:
    b, out = build.bms, np.zeros(1, records.BMS)
    _set(
        out,
        trip_d=b.discharge_trip_a, delay_d=b.discharge_trip_delay_s, trip_c=b.charge_trip_a,
        delay_c=b.charge_trip_delay_s, cell_low=b.cell_low_v, low_delay=b.cell_low_delay_s,
        cell_high=b.cell_high_v, high_delay=b.cell_high_delay_s, hot_c=b.hot_c,
        heat_j_k=b.heat_j_k, heat_w_k=b.heat_w_k, r_heat=b.heat_ohm, i_tau=b.current_tau_s,
        restart_s=b.restart_s, needs_rest=b.needs_rest, low_rearm=b.cell_low_rearm_v,
        high_rearm=b.cell_high_rearm_v, hot_rearm=b.hot_rearm_c, opens_both=b.opens_both,
        separate=b.separate_ports, idle_s=b.idle_off_s, idle_a=b.idle_below_a,
        temp_c=ambient_c, resets=b.timer_resets,
    )  # fmt: skip
    return out


def vehicle_record(build: Build, mass_kg: float, rho: float) -> np.ndarray:
    out = np.zeros(1, records.VEHICLE)
    turning = 0.0
    for d in build.drives:
        radius = build.body.wheel_diameter_m / 2
        turning += d.motor.inertia * (build.body.gear_ratio / radius) ** 2 + 1.1
    _set(
        out, mass=mass_kg, rot_mass=turning, crr=build.body.crr, cda=build.body.cda_m2,
        rho=rho, grip=build.body.grip, wind_gain=1.0,
    )  # fmt: skip
    return out
