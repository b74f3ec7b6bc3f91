"""Is the logged motor current counted the way its limits are: as amplitude, rms or direct current?

The same current in the windings is 1, 0.71 or 0.82 "amperes" by who counts it. Sides compare by
ratio all the same; a limit is judged once the scale is settled, by the map or by physics, or where
what was seen gives one verdict on every scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.balance import InForce
from analyzer.estimate import Note
from analyzer.events import NotChecked
from analyzer.limits import LimitCheck
from analyzer.quantities import Floats
from importers.channel_map import map_line
from importers.ride import Ride, reading_of
from importers.setup_types import Setup
from importers.units import PHASE_SCALES

RMS_RATIO, AMPLITUDE_RATIO = PHASE_SCALES["A rms"], PHASE_SCALES["A peak"]
"""Battery current over duty times phase current, losses apart, when the log counts rms or the
amplitude; 1 for the direct-current equivalent. Three phases with sinusoidal currents at full
modulation: P = 3/2 U I of the amplitudes, U = duty V / sqrt(3); from memory, any text on
space-vector modulation derives it."""
NEAR_DIRECT, NEAR_OTHER = (0.94, 1.12), 0.05
"""What a ratio may be off for losses (idle draw, switching) and the gains of two sensors. Our
choice: amplitude and direct current are 0.13 apart."""
LOADED = 0.4
"""Rows above this part of the highest duty times phase current tell. Our choice: idle draw counts
little there."""
DUTY_PCT = (15.0, 93.0)
"""Duty within these tells [%]. Our choice: below it rounds, above it is cut."""
LEAST_ROWS, SPREAD = 100, 0.15
"""So many rows, their middle half within this part of each other. Our choice."""
ROWS = 50_000
"""Rows looked at. Our choice: a ratio needs no more."""
HINT = 0.03
"""A plateau this near to a limit hints that log and limit count alike. Our choice."""
TWO_SCALES = float(np.sqrt(2.0))
"""The most that two ways of counting differ: amplitude against rms."""
LIMITER_FROM, LIMITER_TO = 0.95, 1.05
"""Where a limiter works, as parts of it. The contract's."""
WAYS = {"direct": "direct current", "rms": "rms", "amplitude": "amplitude"}


@dataclass(frozen=True, slots=True)
class Scale:
    """How one drive's phase current is counted, as far as the log tells."""

    drive: str
    settled: bool
    counted: str | None
    """`direct`, `rms` or `amplitude` where physics tells."""
    ratio: float | None
    """Battery current over duty times phase current while driving hard; None without all three."""


def phase_scale(ride: Ride, drive: str) -> Scale | None:
    """How is this drive's phase current counted? None where it is not logged."""
    reading = reading_of(ride.sources, f"{drive}.phase_current_a")
    if not ride.has(f"{drive}.phase_current_a"):
        return None
    if reading is not None and reading.unit in PHASE_SCALES:
        return Scale(drive, True, None, None)
    ratio = _ratio(ride, drive)
    if ratio is None:
        return Scale(drive, False, None, None)
    if NEAR_DIRECT[0] <= ratio <= NEAR_DIRECT[1]:
        return Scale(drive, True, "direct", ratio)
    for name, at in (("rms", RMS_RATIO), ("amplitude", AMPLITUDE_RATIO)):
        if abs(ratio / at - 1.0) <= NEAR_OTHER:
            return Scale(drive, False, name, ratio)
    return Scale(drive, False, None, ratio)


def _ratio(ride: Ride, drive: str) -> float | None:
    """Battery current over duty times phase current, by the rows that draw much."""
    names = ("battery_current_a", "phase_current_a", "duty_pct")
    battery, phase, duty = (ride.get(f"{drive}.{name}") for name in names)
    if battery is None or phase is None or duty is None:
        return None
    every = max(1, duty.size // ROWS)
    battery, phase, duty = battery[::every], phase[::every], duty[::every]
    with np.errstate(invalid="ignore"):
        within = (np.abs(duty) > DUTY_PCT[0]) & (np.abs(duty) < DUTY_PCT[1]) & (battery > 0)
    product: Floats = np.abs(duty[within]) / 100.0 * np.abs(phase[within])
    drawn = battery[within]
    product, drawn = product[np.isfinite(product)], drawn[np.isfinite(product)]
    if product.size < LEAST_ROWS:
        return None
    loaded = product > LOADED * float(np.quantile(product, 0.999))
    if loaded.sum() < LEAST_ROWS:
        return None
    low, middle, high = np.quantile(drawn[loaded] / product[loaded], [0.25, 0.5, 0.75])
    return float(middle) if high - low < SPREAD * middle else None


def settle_phase_limits(
    ride: Ride,
    setup: Setup,
    in_force: Sequence[InForce],
    checks: Sequence[LimitCheck],
    missing: Sequence[NotChecked],
) -> tuple[tuple[LimitCheck, ...], tuple[NotChecked, ...], tuple[Note, ...]]:
    """The checks without those of phase limits whose scale is open, these among what was not
    checked, and notes that say so. Controllers of one build count alike: one settled, all are."""
    scales = {one.drive: one for d in setup.drive_names if (one := phase_scale(ride, d))}
    if not scales:
        return tuple(checks), tuple(missing), ()
    known = any(one.settled for one in scales.values())
    contrary = any(one.counted in ("rms", "amplitude") for one in scales.values())
    if known and not contrary:
        return tuple(checks), tuple(missing), ()
    seats = {one.drive: one for one in in_force}
    hinted = [d for d in scales if _hint(setup, d, seats.get(d), checks)]
    if hinted:
        return tuple(checks), tuple(missing), tuple(_hinted(d, scales[d]) for d in hinted)
    kept: list[LimitCheck] = []
    out, notes = list(missing), list[Note]()
    for check in checks:
        _, drive, key = (*check.limit.split("."), "")[:3]
        scale = scales.get(drive) if key in ("phase_drive_a", "phase_brake_a") else None
        if scale is None or scale.settled or _one_verdict(check, seats.get(drive)):
            kept.append(check)
            continue
        out.append(NotChecked(_told(check, drive), (f"{drive}.duty_pct",)))
        notes.append(_open(ride, drive, scale))
    return tuple(kept), tuple(out), tuple(dict.fromkeys(notes))


def _hint(setup: Setup, drive: str, seat: InForce | None, checks: Sequence[LimitCheck]) -> bool:
    """Whether the current stands still, or has its highest second, at the very limit."""
    own = setup.drive(drive)
    for key in ("phase_drive_a", "phase_brake_a"):
        limit = getattr(own, key)
        if limit is None:
            continue
        plateau = getattr(seat, key) if seat is not None else None
        check = next((one for one in checks if one.limit == f"drives.{drive}.{key}"), None)
        seen = plateau.value if plateau is not None else None if check is None else check.seen
        if seen is not None and abs(seen / limit - 1.0) <= HINT:
            return True
    return False


def _one_verdict(check: LimitCheck, seat: InForce | None) -> bool:
    """Whether what was seen gives the same verdict however it is counted. A current that stood
    still somewhere was held by its limit, however little it reads."""
    if check.seen is None:
        return True
    part = check.seen / check.set
    leaned = seat is not None and getattr(seat, check.limit.rsplit(".", 1)[1]) is not None
    more = TWO_SCALES if leaned else RMS_RATIO
    return part * more < LIMITER_FROM or part / TWO_SCALES > LIMITER_TO


def _told(check: LimitCheck, drive: str) -> str:
    way = "driving" if check.limit.endswith("phase_drive_a") else "braking"
    return (
        f"phase current {way}, {drive}: {check.seen:.0f} A seen of {check.set:g} A, but whether "
        "log and limit count alike (amplitude, rms or direct current) is not settled"
    )


def _hinted(drive: str, scale: Scale) -> Note:
    but = "" if scale.counted is None else f", though the log counts {WAYS[scale.counted]}"
    return Note(
        f"{drive}.phase_current_a",
        "it is judged as its limits are counted: it stands still at the very limit, which hints at "
        f"it{but} and proves nothing",
    )


def _open(ride: Ride, drive: str, scale: Scale) -> Note:
    reading = reading_of(ride.sources, f"{drive}.phase_current_a")
    header = reading.header if reading is not None else "…"
    sign = reading.sign if reading is not None else 1
    channel = str(reading.channel) if reading is not None else f"{drive}.phase_current_a"
    lines = [map_line(header, channel, unit, sign) for unit in PHASE_SCALES]
    if scale.counted is not None:
        why = (
            f"the battery current is {scale.ratio:.2f} times duty times phase current, so the log "
            f"counts {WAYS[scale.counted]}; how the controller counts its limits is not known"
        )
    else:
        why = (
            "whether it is amplitude, rms or direct current is not settled (with duty and battery "
            "current logged, physics would tell)"
        )
    return Note(
        f"{drive}.phase_current_a",
        f"{why}: sides are compared by ratio, its limits are not judged. A map file settles it: "
        f"{lines[0]} where log and limits count alike, {lines[1]} or {lines[2]} where the log is "
        "so and the limits are direct current",
    )
