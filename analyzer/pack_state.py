"""What the ride says of the pack: resistance, rest voltage, charge, capacity."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import exp, hypot

import numpy as np

from analyzer.capacity import capacity_from_counter, capacity_from_rests, logged_charge_pct
from analyzer.estimate import Estimate, Note
from analyzer.lags import TAUS_S
from analyzer.pack_rows import BOOTSTRAP_SHORT, fit_pack
from analyzer.quantities import Floats, Quantity, pack_current_a, pack_voltage_v
from analyzer.resistance import ResistanceFit
from analyzer.rest_voltage import charge_from_rest, fall_sd_v
from analyzer.temperature import (
    Activation,
    PackTemperature,
    log_ratio_interval,
    pack_temperature,
)
from importers.ride import Ride
from importers.setup_types import Setup

CONTROLLER_GAIN_SD = 0.015
"""Battery current as a controller computes it, one standard deviation of its scale: 3 % (common
practice, no source: 3 to 5 %) as the 95 % range. Two controllers err independently."""
BMS_GAIN_SD = 0.010
"""A BMS's shunt: 2 % likewise (common practice, no source: 1 to 3 %)."""
VOLTAGE_GAIN_SD = 0.004
"""A voltage reading: two on one wire differ by 0.5 to 1 % (common practice, no source)."""
OFFSET_SD_A = 0.15
"""A shunt's zero (common practice, no source: 0.1 to 0.3 A at most)."""
AUX_UNKNOWN_SD_A = 0.6
"""What lights and converter draw past the controllers when `aux_a` is not given (common practice,
no source: 0.3 to 2 A)."""
AUX_KNOWN_SD = 0.2
"""... and how well a given `aux_a` is met. Our choice."""
MODEL_SD = 0.006
"""What the fit itself adds to the 10 s resistance: 0.5 to 1.2 % on two kinds of simulated rides
with perfect sensors (benchmarks/tables/pack_truth.py), the larger where diffusion is solved and
resistance has a bump at a bend of the rest-voltage curve."""
OWN_SURFACE_SD, BUILT_IN_SURFACE_SD = 1.1, 2.7
"""Relative error of the 10 s resistance per part of the rest voltage that the electrodes' surface
moves under load, with the cells' own and with a built-in curve: diffusion is read through the
curve's slope. Measured on simulated rides of two kinds, likewise."""
WARMING_SD = 0.25
"""How much of what warmth is expected to do to the resistance may not be so: an activation energy
of 20 kJ/mol is known to about 5 (see `analyzer.temperature`); rides gave 0.24."""
INSTANT_MODEL_SD = 0.05
"""Likewise for the instant part: filters in front of the readings smear it."""
REST_MODEL_SD_V = 0.006
"""What the fit adds to a rest voltage [V per cell], measured likewise."""
INSTANT_STEP_S = 0.25
INSTANT_RATE_HZ = 2.5
"""Logs slower than this, or whose channels change more slowly, cannot tell what answers at once.
Our choice."""
ROUNDING_ROWS = 50_000
LAST_DIGIT_V = 1e-4
"""Readings nearer than this are equal [V]."""
STRANGE_FROM = 0.02
"""From here on a part of the voltage's movement that the current does not explain is said. Our
choice: clean logs leave 0.001, a current clipped at half its height 0.04 to 0.10."""
STRANGE_SD = 3.0
"""What such a part adds to the resistance's relative error, measured on clipped and unsigned
currents of simulated rides."""


@dataclass(frozen=True, slots=True, eq=False)
class PackFit:
    """The fitted pack over the whole ride; n values, one per row of `ride.table`.

    V = rest voltage(charge drawn) - sum of R_k * lag_k(current).
    """

    rest_voltage_v: Floats
    """What the pack would read after long rest at that moment; NaN across holes."""
    modelled_v: Floats
    taus_s: tuple[float, ...]
    resistances_ohm: tuple[float, ...]
    """R_k of each time constant; the first is the instant part."""
    residual_sd_v: float
    voltage_lag_s: float
    """By how much the voltage reading trails the current reading (fitted)."""


@dataclass(frozen=True, slots=True)
class PackState:
    """The pack's numbers as the contract names them; None with a note where unknown."""

    resistance_10s_ohm: Estimate | None
    resistance_10s_25c_ohm: Estimate | None
    resistance_instant_ohm: Estimate | None
    temperature_c: float | None
    rest_voltage_start_v: Estimate | None
    rest_voltage_end_v: Estimate | None
    state_of_charge_start_pct: Estimate | None
    state_of_charge_end_pct: Estimate | None
    capacity_ah: Estimate | None


def estimate_pack(
    ride: Ride, setup: Setup, *, seed: int = 0
) -> tuple[PackState, PackFit | None, tuple[Note, ...]]:
    """What does this ride say of the pack: how much it sags, what it holds, and how sure is that?

    Truth is meant by true volts and amperes: the intervals carry the sensors' scale errors, which
    one ride cannot see. What the ride cannot tell is None, with a note why.
    """
    temperature = pack_temperature(ride)
    notes = list(_temperature_notes(temperature))
    volts, amps = pack_voltage_v(ride, setup), pack_current_a(ride, setup)
    fit, why = fit_pack(ride, setup, volts, amps, seed)
    if fit is None or volts is None or amps is None:
        notes += [Note(f"pack.{name}", why) for name in UNKNOWN_WITHOUT_FIT]
        empty = PackState(None, None, None, temperature.mean_c, None, None, None, None, None)
        return empty, None, tuple(notes)
    state, more = _state(
        fit, ride, setup, volts, amps, temperature, logged_charge_pct(ride, fit.time_s[[0, -1]])
    )
    return state, _on_rows(fit, ride), (*notes, *more)


UNKNOWN_WITHOUT_FIT = (
    "resistance_10s_ohm",
    "resistance_10s_25c_ohm",
    "resistance_instant_ohm",
    "rest_voltage_start_v",
    "rest_voltage_end_v",
    "state_of_charge_start_pct",
    "state_of_charge_end_pct",
    "capacity_ah",
)


def _rounding_part(ride: Ride, fit: ResistanceFit, volts: Quantity) -> float:
    """The part of the voltage's movement under load that is the reading's last digit."""
    steps = []
    for name in volts.channels:
        values = np.unique(ride.table[name].to_numpy(np.float64)[:ROUNDING_ROWS])
        apart = np.diff(values[np.isfinite(values)])
        apart = apart[apart > LAST_DIGIT_V]
        steps.append(float(apart.min()) if apart.size else 0.0)
    noise = sum(step**2 / 12 for step in steps) / max(len(steps), 1) ** 2
    moved = fit.residual_sd_v**2 / max(1 - fit.explained, 1e-9)
    return noise / max(moved, 1e-12)


def _gain_sds(volts: Quantity, amps: Quantity) -> tuple[float, float]:
    """Standard deviations of the scales of voltage and current, as relative errors."""
    voltage = VOLTAGE_GAIN_SD / np.sqrt(max(len(volts.channels), 1))
    if amps.channels == ("pack_current_a",):
        return float(voltage), BMS_GAIN_SD
    return float(voltage), float(CONTROLLER_GAIN_SD / np.sqrt(max(len(amps.channels), 1)))


def _offset_sd_a(amps: Quantity, setup: Setup) -> float:
    if amps.channels == ("pack_current_a",):
        return OFFSET_SD_A
    aux = setup.pack.aux_a
    lights = AUX_UNKNOWN_SD_A if aux is None else AUX_KNOWN_SD * aux
    return hypot(OFFSET_SD_A * len(amps.channels) ** 0.5, lights)


def _around(value: float, sd: float) -> Estimate:
    return Estimate(value, value - 1.96 * sd, value + 1.96 * sd)


def _state(
    fit: ResistanceFit,
    ride: Ride,
    setup: Setup,
    volts: Quantity,
    amps: Quantity,
    temperature: PackTemperature,
    logged_pct: tuple[float, float] | None,
) -> tuple[PackState, list[Note]]:
    notes: list[Note] = []
    gain_v, gain_a = _gain_sds(volts, amps)
    gain = hypot(gain_v, gain_a)
    strange = max(1 - fit.explained - _rounding_part(ride, fit, volts), 0.0)
    if strange > STRANGE_FROM:
        notes.append(
            Note(
                "pack.resistance_10s_ohm",
                f"{strange:.0%} of how the voltage moves under load is not explained by the "
                "logged current (0.1 % is usual): it may be clipped, unsigned or badly timed. "
                "The intervals are widened for that.",
            )
        )
    if any("." in channel for channel in volts.channels):
        notes.append(
            Note(
                "pack.resistance_10s_ohm",
                "Voltage was read at the controllers: leads, fuse and connectors count in.",
            )
        )
    surface_sd = BUILT_IN_SURFACE_SD if setup.curve.built_in else OWN_SURFACE_SD
    model = hypot(
        MODEL_SD, STRANGE_SD * strange, WARMING_SD * fit.warming, surface_sd * fit.surface_part
    )
    pulse_sd = hypot(fit.pulse_sd_ohm * BOOTSTRAP_SHORT, hypot(gain, model) * fit.pulse_ohm)
    pulse = _around(fit.pulse_ohm, pulse_sd)
    instant = None
    slowest = min(
        (rate for c in (*volts.channels, *amps.channels) if (rate := ride.rate_hz(c))),
        default=1 / fit.step_s,
    )
    if fit.step_s <= INSTANT_STEP_S and slowest >= INSTANT_RATE_HZ:
        sd = hypot(
            fit.instant_sd_ohm * BOOTSTRAP_SHORT,
            hypot(gain, hypot(INSTANT_MODEL_SD, STRANGE_SD * strange)) * fit.pulse_ohm,
        )
        instant = Estimate(
            fit.instant_ohm, max(fit.instant_ohm - 1.96 * sd, 0.0), fit.instant_ohm + 1.96 * sd
        )
    else:
        notes.append(
            Note(
                "pack.resistance_instant_ohm",
                f"One reading every {max(fit.step_s, 1 / slowest):.2g} s is too slow to tell what "
                "answers at once.",
            )
        )
    offset = _offset_sd_a(amps, setup) * fit.total_ohm
    series = setup.pack.series
    own = [
        hypot(hypot(sd * BOOTSTRAP_SHORT, offset), REST_MODEL_SD_V * series)
        for sd in (fit.rest_start_sd_v, fit.rest_end_sd_v)
    ]
    rests = (fit.rest_start_v, fit.rest_end_v)
    fall = fall_sd_v(setup, rests[0], float(fit.charge_ah[-1] - fit.charge_ah[0]))
    own[1] = hypot(own[1], fall)
    whole = [hypot(sd, gain_v * rest) for sd, rest in zip(own, rests, strict=True)]
    charges = [charge_from_rest(rest, sd, setup) for rest, sd in zip(rests, whole, strict=True)]
    for name, charge in zip(("start", "end"), charges, strict=True):
        if charge is None:
            notes.append(
                Note(
                    f"pack.state_of_charge_{name}_pct",
                    "The rest voltage lies where the curve is too flat to tell the charge.",
                )
            )
    drawn = float(fit.charge_ah[-1] - fit.charge_ah[0])
    hours = float(fit.time_s[-1] - fit.time_s[0]) / 3600
    drawn_sd = hypot(gain_a * drawn, _offset_sd_a(amps, setup) * hours)
    capacity = capacity_from_rests(
        drawn, drawn_sd, *rests, (own[0], own[1]), gain_v * rests[0], setup
    )
    counted = (
        None
        if logged_pct is None
        else capacity_from_counter(drawn, drawn_sd, float(logged_pct[0] - logged_pct[1]))
    )
    if capacity is None and counted is not None:
        notes.append(
            Note(
                "pack.capacity_ah",
                "From the logged state of charge alone, whose 0 and 100 % are the logger's own; "
                "the rest voltages of this ride cannot tell with this curve.",
            )
        )
    elif capacity is None:
        notes.append(
            Note(
                "pack.capacity_ah",
                f"{drawn:.1f} Ah between two rest voltages is too little to tell the capacity "
                + (
                    "with a curve that is not the cells' own."
                    if setup.curve.built_in
                    else "with this curve."
                ),
            )
        )
    capacity = capacity or counted
    state = PackState(
        resistance_10s_ohm=pulse,
        resistance_10s_25c_ohm=_at_25c(pulse, pulse_sd, temperature, Activation()),
        resistance_instant_ohm=instant,
        temperature_c=temperature.mean_c,
        rest_voltage_start_v=_around(rests[0], whole[0]),
        rest_voltage_end_v=_around(rests[1], whole[1]),
        state_of_charge_start_pct=charges[0],
        state_of_charge_end_pct=charges[1],
        capacity_ah=capacity,
    )
    return state, notes


def _at_25c(
    pulse: Estimate, sd: float, temperature: PackTemperature, activation: Activation
) -> Estimate:
    value, down, up = log_ratio_interval(temperature, activation)
    spread = 1.96 * sd / pulse.value
    middle = pulse.value * exp(value)
    return Estimate(middle, middle * exp(-hypot(spread, down)), middle * exp(hypot(spread, up)))


def _temperature_notes(temperature: PackTemperature) -> list[Note]:
    mean = f"{temperature.mean_c:.0f} °C"
    said = {
        "stated": f"Pack temperature not logged: taken as {mean}, as stated for the start.",
        "ambient": f"Pack temperature not logged: taken as the air's, {mean}.",
        "assumed": f"Pack temperature neither logged nor stated (--temp): {mean} is assumed, and "
        "the interval of the resistance at 25 °C carries that.",
    }
    text = said.get(temperature.source)
    return [Note("pack.temperature_c", text)] if text else []


def _on_rows(fit: ResistanceFit, ride: Ride) -> PackFit:
    """The fit on the ride's own rows; NaN across holes and outside the fitted stretches."""
    time_s = ride.time_s
    edges = (*fit.first, fit.time_s.size)
    rest, modelled = np.full(time_s.size, np.nan), np.full(time_s.size, np.nan)
    for a, b in pairwise(edges):
        grid = fit.time_s[a:b]
        rows = slice(
            *np.searchsorted(time_s, [grid[0] - fit.step_s, grid[-1] + fit.step_s]).tolist()
        )
        rest[rows] = np.interp(time_s[rows], grid, fit.rest_v[a:b])
        modelled[rows] = np.interp(time_s[rows], grid, fit.modelled_v[a:b])
    return PackFit(
        rest_voltage_v=rest,
        modelled_v=modelled,
        taus_s=TAUS_S,
        resistances_ohm=tuple(float(r) for r in fit.resistances_ohm),
        residual_sd_v=fit.residual_sd_v,
        voltage_lag_s=fit.lag_s,
    )
