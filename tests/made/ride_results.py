"""Hand-made `RideResult`s for the tests of reports: an invented cargo trike whose numbers hold
together (16s6p, 21 Ah, 79 mohm; each drive limited to 28 A under a BMS of 40 A that opens above
50 A after 1.5 s). The analysis is not run: what a page must say can be read off this file.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone

import numpy as np
import pandas as pd

from analyzer.balance import Balance, InForce, Share
from analyzer.climbs import Climb, Governed
from analyzer.estimate import Estimate, Note
from analyzer.events import Cause, Event, LimitRef, NotChecked, Peak
from analyzer.findings import Finding
from analyzer.limits import LimitCheck, Tried
from analyzer.pack_state import PackFit, PackState
from analyzer.ride_analysis import RideResult
from analyzer.totals import Totals
from analyzer.words import (
    BalanceVerdict,
    EventKind,
    Governor,
    GradeSource,
    LimitRole,
    Severity,
    Verdict,
)
from importers.ride import ChannelReading, Ride, RideFacts, Source
from importers.setup_types import (
    Bms,
    Chemistry,
    Drive,
    Pack,
    RestVoltageCurve,
    Setup,
    Vehicle,
)

RESISTANCE_OHM = 0.079
REST_START_V, REST_END_V = 65.4, 63.9
START = datetime(2031, 5, 4, 9, 31, 0, tzinfo=timezone(timedelta(hours=2)))

CLIMB_S = (300.0, 607.0)
CUTOUT_S = (607.0, 616.0)
SURGE_S = (605.4, 607.0)
BRAKE_S = (120.0, 122.4)
GAP_S = (900.0, 904.0)


def made_setup(drives: tuple[str, ...] = ("left", "right")) -> Setup:
    curve = RestVoltageCurve(
        np.array([0.0, 0.3, 0.58, 1.0]), np.array([2.8, 3.58, 3.825, 4.2]), "made for tests"
    )
    limits = Drive(
        name="",
        phase_drive_a=70.0,
        phase_brake_a=50.0,
        battery_drive_a=28.0,
        battery_brake_a=8.0,
        derate_from_v=52.8,
        stop_at_v=48.0,
        controller_derate_c=80.0,
        motor_derate_c=100.0,
        motor_stop_c=120.0,
    )
    return Setup(
        vehicle=Vehicle(
            name="cargo trike", mass_kg=310.0, wheel_diameter_m=0.508, gear_ratio=5.0, pole_pairs=7
        ),
        pack=Pack(
            chemistry=Chemistry.NMC,
            series=16,
            parallel=6,
            capacity_ah=21.0,
            cell_full_v=4.2,
            cell_empty_v=2.8,
            discharge_rating_a=60.0,
            charge_rating_a=10.5,
            aux_a=1.0,
        ),
        bms=Bms(
            discharge_rating_a=40.0,
            charge_rating_a=15.0,
            discharge_trip_a=50.0,
            discharge_trip_delay_s=1.5,
        ),
        drives=tuple(replace(limits, name=name) for name in drives),
        curve=curve,
        file="builds/setup.toml",
    )


def made_table(drives: tuple[str, ...], duration_s: float, rate_hz: float) -> pd.DataFrame:
    """Two minutes on the flat, a braking spike, a climb, a surge, nine seconds dead, the way
    home with a hole in the log; the pack's voltage follows from the currents."""
    rng = np.random.default_rng(1)
    time_s = np.arange(0.0, duration_s, 1.0 / rate_hz)
    time_s = time_s[(time_s <= GAP_S[0]) | (time_s >= GAP_S[1])]

    def within(span: tuple[float, float]) -> np.ndarray:
        return (time_s >= span[0]) & (time_s < span[1])

    each = 6.0 + 3.0 * np.sin(time_s / 17.0)
    each[within(CLIMB_S)] = 16.5
    each[within(SURGE_S)] = 26.3
    each[within(BRAKE_S)] = -6.8
    speed = np.full(time_s.size, 6.8) + 0.4 * np.sin(time_s / 23.0)
    speed[within(CLIMB_S)] = 5.4
    dead = within(CUTOUT_S)
    each[dead] = 0.0
    speed[dead] = np.clip(5.4 - 1.2 * (time_s[dead] - CUTOUT_S[0]), 0.0, None)
    table = pd.DataFrame({"time_s": time_s})
    total = np.zeros(time_s.size)
    for place, name in enumerate(drives):
        lean = 0.4 * (-1) ** place
        own = np.where(dead, 0.0, each + lean * np.abs(each) / 26.3)
        own = own + np.where(dead, 0.0, rng.normal(0.0, 0.15, time_s.size))
        total += own
        table[f"{name}.battery_current_a"] = own
        table[f"{name}.phase_current_a"] = own * 1.9
        table[f"{name}.motor_rpm"] = speed / (np.pi * 0.508) * 60.0 * 5.0
        heat = np.cumsum(np.square(own)) / rate_hz * 4e-4
        table[f"{name}.motor_temp_c"] = 24.0 + 54.0 * heat / heat[-1] + place
        table[f"{name}.controller_temp_c"] = 24.0 + 38.0 * heat / heat[-1]
    rest = REST_START_V + (REST_END_V - REST_START_V) * time_s / time_s[-1]
    volts = rest - RESISTANCE_OHM * (total + np.where(dead, 0.0, 1.0))
    volts = np.where(dead, np.clip(31.0 * speed / 5.4, 0.5, None), volts)
    for name in drives:
        table[f"{name}.battery_voltage_v"] = volts + rng.normal(0.0, 0.04, time_s.size)
    table["throttle_pct"] = np.clip(each / 28.0 * 100.0, 0.0, 100.0) + np.where(dead, 94.0, 0.0)
    table["altitude_m"] = 210.0 + np.interp(time_s, CLIMB_S, (0.0, 0.096 * 5.4 * 307.0))
    table["latitude_deg"] = 47.123456 + time_s * 1e-6
    table["longitude_deg"] = 8.654321 + time_s * 1e-6
    return table


def made_sources(
    table: pd.DataFrame, drives: tuple[str, ...], rate_hz: float
) -> tuple[Source, ...]:
    readings = [ChannelReading("time [ms]", "time_s", "ms", 1, rate_hz, 0.99)]
    for name in drives:
        readings += [
            ChannelReading(
                f"I bat {name} [A]", f"{name}.battery_current_a", "A", -1, rate_hz, 0.97
            ),
            ChannelReading(f"mot {name} rpm", f"{name}.motor_rpm", "rpm", 1, rate_hz, 0.88),
        ]
    readings.append(ChannelReading("cabin humidity", None, "%", 1, None, 0.0))
    log = Source(
        file="/home/somebody/logs/ride.csv",
        role="all",
        rows=len(table),
        rows_dropped=3,
        rate_hz=rate_hz,
        clock_offset_s=0.0,
        clock_drift_ppm=0.0,
        channels=tuple(readings),
        problems=("3 rows were cut short and left out.",),
    )
    height = ChannelReading("ele", "altitude_m", "m", 1, 1.0, 1.0)
    track = Source("way.gpx", "gps", 1200, 0, 1.0, 0.4, 12.0, (height,))
    return (log, track)


def made_events(drives: tuple[str, ...]) -> tuple[Event, ...]:
    limit = "bms.discharge_rating_a"
    surge = Cause(
        cause="bms_overcurrent_discharge",
        probability=0.93,
        evidence=(
            "52.6 A together for 1.6 s; the BMS opens above 50 A after 1.5 s and is rated 40 A.",
            "Both controllers' voltage fell from 61 to 31 V within 60 ms, then sank with speed.",
        ),
        would_confirm=("A BMS log of the same seconds.",),
        remedy=(
            "Set each drive's battery limit to 17.5 A or less: 35 A together and 1 A for lights.",
            "The climb at about 17 km/h instead of 24, some 25 s longer.",
            "The BMS did its job: do not bridge it. Try the new limit on the flat first.",
        ),
        consequences=("supply_interrupted",),
    )
    loose = Cause(
        cause="supply_interrupted",
        probability=0.05,
        evidence=("Power vanished on both sides at once.",),
        would_confirm=("With power off: was a connector warm or browned?",),
        remedy=("Re-make the connector with the pack disconnected.",),
    )
    unknown = Cause(cause="unknown", probability=0.02)
    brake = Event(
        kind=EventKind.REGEN_OVER_RATING,
        start_s=BRAKE_S[0],
        end_s=BRAKE_S[1],
        drives=drives,
        severity=Severity.WATCH,
        peak=Peak("pack_current_a", -13.6),
        limit=LimitRef("pack.charge_rating_a", 10.5),
        facts=("Braking gave 13.6 A for 2.4 s at 96 % charge; the cells are rated 10.5 A.",),
        remedy=(
            "Set each drive's braking to 4.5 A: 9 A together, 14 % under the rating.",
            "Longer stops on the motors alone.",
            "Check the mechanical brake with full load, at walking pace, before any descent.",
        ),
        measures=(("charge_ah", 0.009),),
    )
    over = Event(
        kind=EventKind.DISCHARGE_OVER_RATING,
        start_s=SURGE_S[0],
        end_s=SURGE_S[1],
        drives=drives,
        severity=Severity.ACT,
        peak=Peak("pack_current_a", 53.0),
        limit=LimitRef(limit, 40.0),
        facts=("52.6 A together for 1.6 s, above the BMS rating of 40 A.",),
        remedy=("Set each drive's battery limit to 17.5 A or less.",),
    )
    cutout = Event(
        kind=EventKind.CUTOUT,
        start_s=CUTOUT_S[0],
        end_s=CUTOUT_S[1],
        drives=drives,
        severity=Severity.ACT,
        peak=Peak("pack_current_a", 52.6),
        limit=LimitRef("bms.discharge_trip_a", 50.0),
        causes=(surge, loose, unknown),
        facts=("Power came back after 9 s at rest.",),
    )
    gap = Event(
        kind=EventKind.LOG_GAP,
        start_s=GAP_S[0],
        end_s=GAP_S[1],
        drives=(),
        severity=Severity.NOTE,
        facts=("4.0 s without rows; the ride went on.",),
    )
    return (brake, over, cutout, gap)


def made_limits(drives: tuple[str, ...]) -> tuple[LimitCheck, ...]:
    tried = Tried((88.0, 97.0), (19.0, 19.0), (310.0, 310.0), 1)

    def row(limit, role, value, unit, seen, verdict, pct, text, at_s=None):
        return LimitCheck(
            limit, role, value, unit, seen, 1.0, seen, seen, verdict, pct, tried, at_s, False, text
        )

    rows = [
        row(
            "bms.discharge_rating_a",
            LimitRole.RATING,
            40.0,
            "A",
            53.6,
            Verdict.EXCEEDED,
            134.0,
            "53.6 A with lights, above the rating.",
            606.9,
        ),
        row(
            "pack.charge_rating_a",
            LimitRole.RATING,
            10.5,
            "A",
            13.6,
            Verdict.EXCEEDED,
            129.5,
            "13.6 A while braking.",
            121.5,
        ),
    ]
    for name in drives:
        rows.append(
            row(
                f"drives.{name}.battery_drive_a",
                LimitRole.LIMITER,
                28.0,
                "A",
                26.3,
                Verdict.NOT_REACHED,
                93.9,
                "26.3 A at most.",
                606.0,
            )
        )
        rows.append(
            row(
                f"drives.{name}.motor_stop_c",
                LimitRole.HEAT,
                120.0,
                "°C",
                78.0,
                Verdict.NOT_EXERCISED,
                56.0,
                "Warmed by 54 °C of the 96 °C from ambient to the stop.",
            )
        )
    return tuple(rows)


def made_climb(drives: tuple[str, ...]) -> Climb:
    return Climb(
        start_s=CLIMB_S[0],
        end_s=CLIMB_S[1],
        length_m=1658.0,
        gain_m=159.0,
        grade_pct=Estimate(9.6, 9.3, 9.9),
        grade_source=GradeSource.ALTITUDE,
        peak_pack_current_a=53.6,
        mean_pack_current_a=34.1,
        min_voltage_v=60.4,
        margin_to_derate_v=7.6,
        top_motor_temp_c=tuple((name, 78.0) for name in drives),
        governed=tuple(
            Governed(name, ((Governor.RIDER, 92.0), (Governor.BATTERY_LIMIT, 8.0)))
            for name in drives
        ),
        limits_touched=("bms.discharge_rating_a",),
        hill="Mill Lane",
    )


def made_result(
    drives: tuple[str, ...] = ("left", "right"), duration_s: float = 1200.0, rate_hz: float = 20.0
) -> RideResult:
    """One full ride; with one name in `drives` a ride with one drive."""
    setup = made_setup(drives)
    table = made_table(drives, duration_s, rate_hz)
    ride = Ride(
        table=table,
        drives=drives,
        sources=made_sources(table, drives, rate_hz),
        start=START,
        facts=RideFacts(mass_kg=310.0, pack_temp_c=19.0),
    )
    time_s = ride.time_s
    rest = REST_START_V + (REST_END_V - REST_START_V) * time_s / time_s[-1]
    fit = PackFit(rest, rest - 2.0, (0.0, 10.0), (0.055, 0.024), 0.05, 0.02)
    pack = PackState(
        resistance_10s_ohm=Estimate(0.079, 0.077, 0.081),
        resistance_10s_25c_ohm=Estimate(0.0725, 0.069, 0.076),
        resistance_instant_ohm=Estimate(0.055, 0.054, 0.056),
        temperature_c=19.0,
        rest_voltage_start_v=Estimate(65.4, 65.3, 65.5),
        rest_voltage_end_v=Estimate(63.9, 63.8, 64.0),
        state_of_charge_start_pct=Estimate(96.6, 94.0, 98.1),
        state_of_charge_end_pct=Estimate(88.1, 86.0, 90.0),
        capacity_ah=None,
    )
    two = len(drives) > 1
    shares = tuple(
        Share(name, Estimate(v, v - 0.7, v + 0.7), None, Estimate(v, v - 0.9, v + 0.9), None)
        for name, v in zip(drives, (50.8, 49.2), strict=False)
    )
    balance = Balance(
        shares, Estimate(1.001, 0.997, 1.005), BalanceVerdict.EVEN, None, (), load_s=271.0
    )
    findings = [
        Finding("cutout", Severity.ACT, (2,), ("bms.discharge_trip_a",), drives),
        Finding("discharge_over_rating", Severity.ACT, (1,), ("bms.discharge_rating_a",), drives),
        Finding("regen_over_rating", Severity.WATCH, (0,), ("pack.charge_rating_a",), drives),
        Finding("not_tried", Severity.NOTE, (), tuple(f"drives.{n}.motor_stop_c" for n in drives)),
    ]
    if two:
        findings.insert(3, Finding("balance", Severity.NOTE, (), (), drives))
    return RideResult(
        ride=ride,
        setup=setup,
        totals=Totals(float(time_s[-1]), 7600.0, 412.0, 2.1, 6.45, 0.033),
        pack=pack,
        pack_fit=fit,
        balance=balance if two else None,
        in_force=tuple(InForce(name, None, None, None, None) for name in drives),
        events=made_events(drives),
        limits=made_limits(drives),
        not_checked=(
            NotChecked("fuse and connector", ("wiring.fuse_a", "wiring.connector_rating_a")),
            NotChecked("single cells", ("cell_min_v",)),
        ),
        climbs=(made_climb(drives),),
        findings=tuple(findings),
        notes=(
            Note("pack.capacity_ah", "The ride used 8 % of the charge: too little to tell."),
            Note("pack.temperature_c", "Not logged; 19 °C as you said."),
            Note("ride.start", "The log's time has no zone: this machine's local time is taken."),
        ),
    )


def bare_result() -> RideResult:
    """Ten rows of voltage and nothing else: no current, no drive, no date, nothing found."""
    full = made_result()
    table = pd.DataFrame({"time_s": np.arange(10.0), "pack_voltage_v": np.full(10, 60.0)})
    reading = ChannelReading("U", "pack_voltage_v", "V", 1, 1.0, 0.96)
    source = Source("u.csv", None, 10, 0, 1.0, None, None, (reading,))
    nothing = PackState(None, None, None, None, None, None, None, None, None)
    return replace(
        full,
        ride=Ride(table=table, drives=(), sources=(source,)),
        totals=Totals(9.0, None, None, None, None, None),
        pack=nothing,
        pack_fit=None,
        balance=None,
        in_force=tuple(InForce(name, None, None, None, None) for name in ("left", "right")),
        events=(),
        limits=(),
        not_checked=(NotChecked("everything about currents", ("left.battery_current_a",)),),
        climbs=(),
        findings=(),
        notes=(Note("pack", "No current is logged."),),
    )


def with_events(result: RideResult, events: tuple[Event, ...]) -> RideResult:
    """The same ride with other events, findings left out."""
    return replace(result, events=events, findings=())
