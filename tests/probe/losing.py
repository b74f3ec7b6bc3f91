"""Rides on which something is lost: each cause of the contract in three builds of its own.

A ride is run once unharmed to find a moment of pull or of braking, then again with the fault.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from probe.builds import ALL
from probe.cases import TOP_MPS, Case
from probe.logger import Style
from probe.machine import Machine
from probe.rider import Rider
from probe.road import Leg, Road
from probe.run import Run, ride
from probe.trouble import Trouble

FULL = ("battery_a", "voltage_v", "phase_a", "rpm", "demand", "duty", "motor_c", "controller_c")


def _road(top: float, grade: float = 7.0, long_m: float = 450.0) -> Road:
    return Road(
        [
            Leg(220, 0.0, top),
            Leg(long_m, grade, top * 0.75),
            Leg(120, 0.0, top * 0.9, stop_s=8.0),
            Leg(400, -grade, top * 0.9),
            Leg(150, 0.0, top * 0.7),
        ]
    )


def _ride(
    machine: Machine,
    kind: str,
    soc: float,
    seed: int,
    faults: tuple[Trouble, ...] = (),
    *,
    grade: float = 7.0,
    long_m: float = 450.0,
    air_c: float = 20.0,
    brake: float = 1.0,
) -> Run:
    rider = Rider(_road(TOP_MPS[kind], grade, long_m), motor_brake=brake)
    return ride(machine, rider, soc=soc, seed=seed, faults=faults, air_c=air_c)


def pulling(run: Run, part: float, above: float = 0.35) -> float:
    """A moment of steady pull, this far (0 to 1) through all such moments."""
    pull = run.col["demand"] > above
    steady = np.convolve(pull, np.ones(250), "full")[: len(pull)] >= 249
    steady &= run.col["v"] > 2.0
    index = np.flatnonzero(steady)
    return float(run.t_s[index[int(part * (len(index) - 1))]])


def slow_pull(run: Run) -> float:
    """Just after a start: moving, slower than a jog."""
    index = np.flatnonzero((run.col["demand"] > 0.5) & (run.col["v"] > 0.8) & (run.t_s > 9))
    return float(run.t_s[index[0]])


def _opened(run: Run, why: str) -> float:
    return next(a for reason, a, _ in run.opened if reason == why)


def overcurrent_discharge() -> Iterator[Case]:
    """Each inside its own limit, both together over the trip."""
    for i, (kind, trip, delay, style) in enumerate(
        (
            ("scooter", 33.0, 1.0, Style(channels=FULL)),
            (
                "board",
                26.0,
                0.6,
                Style(rate_hz=50, channels=FULL, gps="none", dies_with_supply=True),
            ),
            ("kart", 100.0, 1.2, Style(layout="per_drive", bms="apart", bms_hz=10)),
        )
    ):
        machine = ALL[kind](
            discharge_trip_a=trip, discharge_trip_delay_s=delay, discharge_rating_a=trip / 1.3
        )
        run = _ride(machine, kind, 0.7, i, grade=9.0)
        yield Case(
            f"oc-discharge-{kind}",
            run,
            style,
            [
                ("cutout", "bms_overcurrent_discharge", a)
                for why, a, _ in run.opened
                if why == "bms_overcurrent_discharge"
            ][: 1 if style.dies_with_supply else 9],
        )


def overcurrent_charge() -> Iterator[Case]:
    """Braking downhill over the charge trip at half charge."""
    for i, (kind, trip, delay, style) in enumerate(
        (
            ("board", 9.0, 0.5, Style(channels=FULL)),
            ("trike", 12.0, 0.8, Style(rate_hz=10, channels=FULL, gps="apart")),
            ("kart", 26.0, 0.5, Style(layout="per_drive", rate_hz=50, channels=FULL)),
        )
    ):
        machine = ALL[kind](
            charge_trip_a=trip, charge_trip_delay_s=delay, charge_rating_a=trip * 0.8
        )
        run = _ride(machine, kind, 0.55, i, grade=10.0)
        yield Case(
            f"oc-charge-{kind}",
            run,
            style,
            [("brake_loss", "bms_overcurrent_charge", a) for why, a, _ in run.opened],
        )


def bms_heat() -> Iterator[Case]:
    """A long pull just under the rating heats the BMS until it opens for minutes."""
    for i, (kind, amps, style) in enumerate(
        (
            ("scooter", 24.0, Style(channels=FULL)),
            ("trike", 31.0, Style(layout="per_drive", channels=FULL)),
            ("kart", 52.0, Style(rate_hz=10, channels=FULL, bms="apart")),
        )
    ):
        machine = ALL[kind](
            heat_open_j=(0.88 * amps) ** 2,
            heat_s=70.0,
            reopen_s=90.0,
            discharge_rating_a=amps * 1.1,
        )
        run = _ride(machine, kind, 0.8, i, grade=9.0, long_m=1500.0)
        yield Case(
            f"bms-heat-{kind}",
            run,
            style,
            [("cutout", "bms_overheat", a) for why, a, _ in run.opened][:1],
        )


def cell_low() -> Iterator[Case]:
    """One weak group empties first; the pack's mean is well above the line."""
    for i, (kind, soc, weak, style) in enumerate(
        (
            ("scooter", 0.16, 0.35, Style(channels=FULL)),
            ("board", 0.20, 0.40, Style(rate_hz=50, channels=FULL, bms="apart", cells=True)),
            ("trike", 0.15, 0.30, Style(layout="per_drive", channels=FULL)),
        )
    ):
        machine = ALL[kind](cell_low_v=2.85, discharge_trip_a=None)
        machine.cells.weak_v, machine.cells.weak_r = weak, 1.5
        for d in machine.drives.values():
            d.derate_from_v, d.stop_at_v = 2.9 * machine.cells.series, 2.7 * machine.cells.series
        run = _ride(machine, kind, soc, i)
        yield Case(
            f"cell-low-{kind}",
            run,
            style,
            [("cutout", "cell_low_voltage", a) for why, a, _ in run.opened],
        )


def cell_high() -> Iterator[Case]:
    """Braking little into a full pack."""
    for i, (kind, style) in enumerate(
        (
            ("board", Style(channels=FULL)),
            ("trike", Style(rate_hz=10, channels=FULL, bms="apart", cells=True)),
            ("scooter", Style(layout="per_drive", channels=FULL)),
        )
    ):
        machine = ALL[kind](cell_high_v=4.225, charge_trip_a=45.0)
        for d in machine.drives.values():
            d.overvoltage_v = 4.45 * machine.cells.series
        run = _ride(machine, kind, 0.995, i, grade=9.0, long_m=230.0)
        yield Case(
            f"cell-high-{kind}",
            run,
            style,
            [("brake_loss", "cell_high_voltage", a) for why, a, _ in run.opened],
        )


def undervoltage() -> Iterator[Case]:
    """The controllers stop by themselves: no band, a narrow one, one side before the other."""
    for i, (kind, soc, band, style) in enumerate(
        (
            ("scooter", 0.10, 0.0, Style(channels=FULL)),
            ("trike", 0.08, 1.2, Style(layout="per_drive", channels=FULL)),
            ("lfp_cart", 0.07, 0.8, Style(rate_hz=10, channels=FULL)),
        )
    ):
        machine = ALL[kind](cell_low_v=2.2, discharge_trip_a=None)
        cells = machine.cells
        stop = round(cells.rest_v(soc) * 0.985, 1)
        for d in machine.drives.values():
            d.stop_at_v, d.derate_from_v = stop, stop + band
        run = _ride(machine, kind, soc + 0.035, i, long_m=900.0)
        side = next(iter(run.side.values()))
        gone = (
            (side["governs"] == "voltage_derate")
            & (np.abs(side["phase_a"]) < 0.05 * 80)
            & (run.col["demand"] > 0.2)
        )
        began = []
        if gone.any():
            derating = side["governs"] == "voltage_derate"
            k = int(np.flatnonzero(gone)[0])
            while k > 0 and derating[max(k - 100, 0) : k].any():
                k -= 1
            began = [float(run.t_s[k])]
        yield Case(
            f"undervoltage-{kind}", run, style, [("cutout", "undervoltage_stop", a) for a in began]
        )


def overvoltage() -> Iterator[Case]:
    """A full pack climbs to the controllers' line while braking."""
    for i, (kind, style) in enumerate(
        (
            ("board", Style(channels=FULL)),
            ("trike", Style(rate_hz=50, channels=FULL)),
            ("kart", Style(layout="per_drive", channels=FULL)),
        )
    ):
        machine = ALL[kind](cell_high_v=None, charge_trip_a=None)
        for d in machine.drives.values():
            d.overvoltage_v = round(4.205 * machine.cells.series, 1)
        run = _ride(machine, kind, 0.99, i, grade=9.0, long_m=230.0)
        side = next(iter(run.side.values()))
        hit = np.flatnonzero((side["governs"] == "overvoltage") & (run.col["demand"] < -0.1))
        lost = [("brake_loss", "overvoltage_trip", float(run.t_s[hit[0]]))] if len(hit) else []
        yield Case(f"overvoltage-{kind}", run, style, lost)


def heat(part: str) -> Iterator[Case]:
    """A long climb until motor or controller stops; band none, narrow."""
    for i, (kind, band, style) in enumerate(
        (
            ("trike", None, Style(channels=FULL)),
            ("scooter", 0.5, Style(layout="per_drive", channels=FULL)),
            ("lfp_cart", None, Style(rate_hz=10, channels=FULL)),
        )
    ):
        machine = ALL[kind]()
        for j, d in enumerate(machine.drives.values()):
            setattr(d, f"{part}_stop_c", 62.0 if j == 0 else 75.0)
            setattr(d, f"{part}_derate_c", None if band is None else 62.0 - band)
            setattr(d, "controller_derate_c" if part == "motor" else "motor_derate_c", None)
            setattr(d, "controller_stop_c" if part == "motor" else "motor_stop_c", None)
            if part == "motor":
                d.motor_j_per_k, d.motor_k_per_w = 160.0, 1.6
            else:
                d.controller_j_per_k, d.controller_k_per_w = 60.0, 4.0
        run = _ride(machine, kind, 0.8, i, grade=8.0, long_m=1200.0)
        name = next(iter(run.side))
        side = run.side[name]
        hit = np.flatnonzero(side["governs"] == "heat_stop")
        at = float(run.t_s[hit[0]]) if len(hit) else -1.0
        yield Case(
            f"{part}-heat-{kind}",
            run,
            style,
            [("cutout", f"{part}_overheat", at)] if at > 0 else [],
        )


def put_in(
    kind_of: str,
    cause: str,
    drive: bool,
    lasts: tuple[float, ...],
    value: Callable[[int], float] = lambda i: 0.0,
    when: Callable[[Run, float], float] = pulling,
) -> Iterator[Case]:
    """A fault at a moment of pull, in three builds and loggers."""
    styles = (
        Style(channels=FULL),
        Style(layout="per_drive", rate_hz=50, channels=FULL),
        Style(rate_hz=10, channels=FULL, gps="apart"),
    )
    for i, kind in enumerate(("scooter", "trike", "board")):
        machine = ALL[kind]()
        name = list(machine.drives)[-1] if drive else None
        if cause == "drive_link_lost":
            machine.drives[str(name)].follows = next(iter(machine.drives))
        whole = _ride(machine, kind, 0.6, i, grade=5.0)
        at = when(whole, 0.3 + 0.2 * i)
        run = _ride(
            machine, kind, 0.6, i, (Trouble(cause, at, lasts[i], name, value(i)),), grade=5.0
        )
        yield Case(f"{cause}-{kind}", run, styles[i], [(kind_of, cause, at)])


def _early(run: Run, _: float) -> float:
    return slow_pull(run)


def every() -> dict[str, Callable[[], Iterator[Case]]]:
    """All causes by name."""
    return {
        "bms_overcurrent_discharge": overcurrent_discharge,
        "bms_overcurrent_charge": overcurrent_charge,
        "bms_overheat": bms_heat,
        "cell_low_voltage": cell_low,
        "cell_high_voltage": cell_high,
        "undervoltage_stop": undervoltage,
        "overvoltage_trip": overvoltage,
        "controller_overheat": lambda: heat("controller"),
        "motor_overheat": lambda: heat("motor"),
        "phase_overcurrent": lambda: put_in("cutout", "phase_overcurrent", True, (1.5, 1.0, 2.0)),
        "input_signal_lost": lambda: put_in("cutout", "input_signal_lost", False, (1.2, 3.0, 2.0)),
        "interlock_opened": lambda: put_in("cutout", "interlock_opened", False, (2.0, 4.0, 3.0)),
        "drive_link_lost": lambda: put_in("cutout", "drive_link_lost", True, (3.0, 6.0, 2.5)),
        "rotor_sensor_fault": lambda: put_in(
            "cutout", "rotor_sensor_fault", True, (1.5, 2.0, 1.5), when=_early
        ),
        "motor_phase_fault": lambda: put_in("cutout", "motor_phase_fault", True, (9.0, 20.0, 6.0)),
        "temperature_sensor_fault": lambda: put_in(
            "cutout",
            "temperature_sensor_fault",
            True,
            (4.0, 9.0, 5.0),
            lambda i: (190.0, 240.0, 170.0)[i],
        ),
        "mechanical_drive_lost": lambda: put_in(
            "cutout", "mechanical_drive_lost", True, (30.0, 999.0, 20.0)
        ),
        "supply_interrupted": lambda: put_in(
            "cutout", "supply_interrupted", False, (0.6, 3.0, 999.0)
        ),
    }


def without(case: Case, *channels: str, **style: object) -> Case:
    """The same ride logged with less."""
    kept = tuple(c for c in case.style.channels if c not in channels)
    return replace(
        case, name=case.name + "-less", style=replace(case.style, channels=kept, **style)
    )
