"""What the ride says of the pack: resistance, rest voltage, charge, capacity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, hypot

import numpy as np

from analyzer.capacity import (
    capacity_from_counter,
    capacity_from_rests,
    charge_jumps,
    logged_charge_pct,
)
from analyzer.estimate import Estimate, Note
from analyzer.lags import TAUS_S
from analyzer.pack_errors import (
    BUILT_IN_SURFACE_SD,
    INSTANT_MODEL_SD,
    MODEL_SD,
    OWN_SURFACE_SD,
    REST_MODEL_SD_V,
    STRANGE_FROM,
    STRANGE_SD,
    WARMING_SD,
    SensorErrors,
    sensor_errors,
)
from analyzer.pack_rows import BOOTSTRAP_SHORT, fit_pack
from analyzer.quantities import Floats, pack_current_a, pack_voltage_v
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

INSTANT_STEP_S = 0.25
INSTANT_RATE_HZ = 2.5
"""Logs slower than this, or whose channels change more slowly, cannot tell what answers at once.
Our choice."""


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


OVERFULL_V = 0.015
"""Rest above full by more than this is told [V per cell]. Our choice: chargers end within 0.01 V
(common practice, no source), and a scale error of 0.35 % is as much."""


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
    channels = (*volts.channels, *amps.channels)
    jumps = charge_jumps(ride, setup)
    notes += _jump_notes(jumps)
    slowest = min((rate for one in channels if (rate := ride.rate_hz(one))), default=None)
    state, more = _state(
        fit,
        setup,
        temperature,
        sensor_errors(fit, ride, setup, volts, amps),
        slowest,
        logged_charge_pct(ride, fit.time_s[[0, -1]], jumps),
    )
    return state, _on_rows(fit, ride), (*notes, *more)


def _jump_notes(jumps: Sequence[tuple[float, float]]) -> list[Note]:
    if not jumps:
        return []
    listed = ", ".join(f"{by:+.0f} points at {when_s:.0f} s" for when_s, by in jumps[:3])
    more = f" and {len(jumps) - 3} more" if len(jumps) > 3 else ""
    text = f"the logged state of charge corrects itself ({listed}{more}): its differences are used"
    return [Note("state_of_charge_pct", text)]


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


def _around(value: float, sd: float) -> Estimate:
    return Estimate(value, value - 1.96 * sd, value + 1.96 * sd)


def _state(
    fit: ResistanceFit,
    setup: Setup,
    temperature: PackTemperature,
    errors: SensorErrors,
    slowest_hz: float | None,
    logged_pct: tuple[float, float] | None,
) -> tuple[PackState, list[Note]]:
    """The fit's numbers with the intervals that its own spread and the sensors' errors give."""
    notes = _reading_notes(errors)
    pulse_sd = _pulse_sd_ohm(fit, setup, errors)
    pulse = _around(fit.pulse_ohm, pulse_sd)
    instant, more = _instant(fit, errors, slowest_hz)
    notes += more
    rests, own = (fit.rest_start_v, fit.rest_end_v), _rest_sds_v(fit, setup, errors)
    whole = [hypot(sd, errors.gain_v * rest) for sd, rest in zip(own, rests, strict=True)]
    charges = [charge_from_rest(rest, sd, setup) for rest, sd in zip(rests, whole, strict=True)]
    notes += [
        Note(
            f"pack.state_of_charge_{name}_pct",
            "The rest voltage lies where the curve is too flat to tell the charge.",
        )
        for name, charge in zip(("start", "end"), charges, strict=True)
        if charge is None
    ]
    notes += _overfull_notes(rests[0], setup)
    capacity, more = _capacity(fit, setup, errors, own, logged_pct)
    notes += more
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


def _overfull_notes(rest_v: float, setup: Setup) -> list[Note]:
    """A pack that rests above full is another pack than the setup's, or overcharged."""
    if rest_v <= setup.full_v + OVERFULL_V * setup.pack.series:
        return []
    text = (
        f"The pack rests at {rest_v:.1f} V, more than {setup.pack.series} cells have when full "
        f"({setup.full_v:.1f} V): `pack.series` or `pack.cell_full_v` in the setup, or the "
        "voltage's scale, may be wrong; charge and voltage limits rest on them. If they are right, "
        "the pack is overcharged: do not ride or charge it before someone qualified has looked."
    )
    return [Note("pack.state_of_charge_start_pct", text)]


def _reading_notes(errors: SensorErrors) -> list[Note]:
    """What is odd about the readings the resistance rests on."""
    notes = []
    if errors.strange > STRANGE_FROM:
        notes.append(
            Note(
                "pack.resistance_10s_ohm",
                f"{errors.strange:.0%} of how the voltage moves under load is not explained by the "
                "logged current (0.1 % is usual): it may be clipped, unsigned or badly timed. "
                "The intervals are widened for that.",
            )
        )
    if errors.at_controllers:
        notes.append(
            Note(
                "pack.resistance_10s_ohm",
                "Voltage was read at the controllers: leads, fuse and connectors count in.",
            )
        )
    return notes


def _pulse_sd_ohm(fit: ResistanceFit, setup: Setup, errors: SensorErrors) -> float:
    """How well the 10 s resistance is known, one standard deviation [ohm]."""
    surface_sd = BUILT_IN_SURFACE_SD if setup.curve.built_in else OWN_SURFACE_SD
    model = hypot(
        MODEL_SD,
        STRANGE_SD * errors.strange,
        WARMING_SD * fit.warming,
        surface_sd * fit.surface_part,
    )
    return hypot(fit.pulse_sd_ohm * BOOTSTRAP_SHORT, hypot(errors.gain, model) * fit.pulse_ohm)


def _instant(
    fit: ResistanceFit, errors: SensorErrors, slowest_hz: float | None
) -> tuple[Estimate | None, list[Note]]:
    """The part that answers at once, or None where the log or a channel is too slow to tell."""
    pace_hz = 1 / fit.step_s if slowest_hz is None else slowest_hz
    if fit.step_s > INSTANT_STEP_S or pace_hz < INSTANT_RATE_HZ:
        text = (
            f"One reading every {max(fit.step_s, 1 / pace_hz):.2g} s is too slow to tell what "
            "answers at once."
        )
        return None, [Note("pack.resistance_instant_ohm", text)]
    model = hypot(INSTANT_MODEL_SD, STRANGE_SD * errors.strange)
    sd = hypot(fit.instant_sd_ohm * BOOTSTRAP_SHORT, hypot(errors.gain, model) * fit.pulse_ohm)
    low = max(fit.instant_ohm - 1.96 * sd, 0.0)
    return Estimate(fit.instant_ohm, low, fit.instant_ohm + 1.96 * sd), []


def _rest_sds_v(fit: ResistanceFit, setup: Setup, errors: SensorErrors) -> tuple[float, float]:
    """How well the rest voltages at the start and the end are known, the scale of the voltage
    apart, one standard deviation each [V]."""
    offset, model = errors.offset_a * fit.total_ohm, REST_MODEL_SD_V * setup.pack.series
    start, end = (
        hypot(hypot(sd * BOOTSTRAP_SHORT, offset), model)
        for sd in (fit.rest_start_sd_v, fit.rest_end_sd_v)
    )
    return start, hypot(end, fall_sd_v(setup, fit.rest_start_v, _drawn_ah(fit)))


def _drawn_ah(fit: ResistanceFit) -> float:
    return float(fit.charge_ah[-1] - fit.charge_ah[0])


def _capacity(
    fit: ResistanceFit,
    setup: Setup,
    errors: SensorErrors,
    own_sd_v: tuple[float, float],
    logged_pct: tuple[float, float] | None,
) -> tuple[Estimate | None, list[Note]]:
    """From the charge drawn between the two rest voltages, else by the logger's own counting."""
    drawn = _drawn_ah(fit)
    hours = float(fit.time_s[-1] - fit.time_s[0]) / 3600
    drawn_sd = hypot(errors.gain_a * drawn, errors.offset_a * hours)
    capacity = capacity_from_rests(
        drawn,
        drawn_sd,
        fit.rest_start_v,
        fit.rest_end_v,
        own_sd_v,
        errors.gain_v * fit.rest_start_v,
        setup,
    )
    if capacity is not None:
        return capacity, []
    counted = (
        None
        if logged_pct is None
        else capacity_from_counter(drawn, drawn_sd, float(logged_pct[0] - logged_pct[1]))
    )
    if counted is not None:
        text = (
            "From the logged state of charge alone, whose 0 and 100 % are the logger's own; "
            "the rest voltages of this ride cannot tell with this curve."
        )
        return counted, [Note("pack.capacity_ah", text)]
    curve = "a curve that is not the cells' own." if setup.curve.built_in else "this curve."
    text = (
        f"{drawn:.1f} Ah between two rest voltages is too little to tell the capacity with {curve}"
    )
    return None, [Note("pack.capacity_ah", text)]


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
