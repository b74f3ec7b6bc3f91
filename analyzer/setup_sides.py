"""Are the drives set alike, and does each drive's own set of limits make sense?"""

from __future__ import annotations

from analyzer.setup_finding import (
    SetupFinding,
    Sheet,
    Suggestion,
    above,
    drive_key,
    num,
    unique,
    who,
)
from analyzer.words import Severity
from importers.setup_keys import LIMIT_KEYS
from importers.setup_types import Drive, Setup

MOTOR_HOT_C = 150.0
"""Magnets and winding insulation of small motors suffer above this. Common practice, no source."""
CONTROLLER_HOT_C = 110.0
"""Common practice, no source."""
NARROW_K = 5.0
"""Fading over fewer kelvin than this is over before a rider notices. Our choice: a motor on a climb
warms by 0.1 to 0.5 K a second."""
_UNITS = {"a": "A", "v": "V", "c": "°C"}


def check_sides(setup: Setup, sheet: Sheet) -> None:
    """Every limit key across the drives; then each drive's phase limits and heat limits."""
    if len(setup.drives) > 1:
        for name in LIMIT_KEYS:
            _check_alike(setup, name, sheet)
    else:
        sheet.miss("whether the drives are set alike: there is only one")
    done: set[tuple[str, ...]] = set()
    for drive in setup.drives:
        homes = tuple(drive_key(setup, drive, name) for name in LIMIT_KEYS)
        if homes in done:
            continue
        done.add(homes)
        _check_phase(setup, drive, sheet)
        _check_heat(setup, drive, sheet)


def _who(setup: Setup, drive: Drive) -> str:
    return who(setup, drive, LIMIT_KEYS)


def _check_alike(setup: Setup, name: str, sheet: Sheet) -> None:
    given = [(d, float(getattr(d, name))) for d in setup.drives if getattr(d, name) is not None]
    if not given:
        return
    if len(given) < len(setup.drives):
        missing = [
            drive_key(setup, one, name) for one in setup.drives if getattr(one, name) is None
        ]
        sheet.miss(f"whether {name} is alike on all drives", *missing)
    values = [value for _, value in given]
    low, high = min(values), max(values)
    if not above(high, low):
        return
    unit = _UNITS[name.rsplit("_", 1)[1]]
    each = ", ".join(f"{drive.name} {num(value, unit)}" for drive, value in given)
    # Sides are matched down in current and heat; of low voltages the higher one is the safer.
    target = high if name in ("derate_from_v", "stop_at_v") else low
    word = "lowest" if target == low else "highest, the safer one for the cells"
    suggest = {
        key: Suggestion(key, target, f"the {word} of the sides, so that all are set alike")
        for drive, value in given
        if value != target and (key := drive_key(setup, drive, name))
    }
    sheet.findings.append(
        SetupFinding(
            check="drives_differ",
            keys=unique(drive_key(setup, drive, name) for drive, _ in given),
            severity=Severity.WATCH,
            value=high,
            limit=low,
            message=f"The drives differ in {name}: {each}.",
            why="One side pulls, brakes, fades or stops before the other: it carries more, gets "
            "hotter, and at a limit the vehicle pulls to one side.",
            suggest=tuple(suggest.values()),
            cost="The stronger side gives no more than the weaker one."
            if target == low
            else "The other side fades a little earlier near the end of a charge.",
            caution="If the difference is meant (front and rear), leave it and check it on a ride.",
        )
    )


def _check_phase(setup: Setup, drive: Drive, sheet: Sheet) -> None:
    """A controller's battery current never exceeds its phase current: duty is one at most."""
    for way in ("drive", "brake"):
        phase, battery = getattr(drive, f"phase_{way}_a"), getattr(drive, f"battery_{way}_a")
        if phase is None or battery is None or not above(battery, phase):
            continue
        verb = "driving" if way == "drive" else "braking"
        sheet.findings.append(
            SetupFinding(
                check="phase_below_battery_limit",
                keys=tuple(
                    drive_key(setup, drive, f"{kind}_{way}_a") for kind in ("phase", "battery")
                ),
                severity=Severity.NOTE,
                value=phase,
                limit=battery,
                message=f"{_who(setup, drive)}, {verb}: the phase limit {num(phase, 'A')} lies "
                f"below the battery limit {num(battery, 'A')}.",
                why="Battery current is phase current times duty, and duty is one at most: the "
                "battery limit is hardly ever reached and protects nothing here. Are the two "
                "swapped?",
                cost="",
            )
        )


def _check_heat(setup: Setup, drive: Drive, sheet: Sheet) -> None:
    for part, hot in (("controller", CONTROLLER_HOT_C), ("motor", MOTOR_HOT_C)):
        derate, stop = getattr(drive, f"{part}_derate_c"), getattr(drive, f"{part}_stop_c")
        missing = [
            drive_key(setup, drive, f"{part}_{end}_c")
            for end, value in (("derate", derate), ("stop", stop))
            if value is None
        ]
        if missing:
            sheet.miss(f"{_who(setup, drive)}: {part} heat limits", *missing)
        if derate is not None and stop is not None:
            if above(stop, derate + NARROW_K):
                sheet.held.append(
                    f"{_who(setup, drive)}: {part} fades from {num(derate, '°C')} and stops at "
                    f"{num(stop, '°C')}."
                )
            if not above(stop, derate + NARROW_K):
                sheet.findings.append(_heat_order(setup, drive, part, derate, stop))
        top_key = "stop" if stop is not None else "derate"
        top = stop if stop is not None else derate
        if top is not None and above(top, hot):
            sheet.findings.append(_too_hot(setup, drive, part, top_key, top, hot))


def _heat_order(setup: Setup, drive: Drive, part: str, derate: float, stop: float) -> SetupFinding:
    key = drive_key(setup, drive, f"{part}_derate_c")
    narrow = above(stop, derate)
    ends = f"only {num(stop - derate, 'K')} to fade in" if narrow else "it stops before it fades"
    return SetupFinding(
        check="heat_derate_below_stop",
        keys=(key, drive_key(setup, drive, f"{part}_stop_c")),
        severity=Severity.WATCH,
        value=derate,
        limit=stop,
        message=f"{_who(setup, drive)}: the {part} fades from {num(derate, '°C')} but stops at "
        f"{num(stop, '°C')}: {ends}.",
        why="On a long climb drive is gone without warning.",
        suggest=(Suggestion(key, stop - 15.0, "leaves 15 K in which power fades and you notice"),),
        cost="Power fades earlier on a long climb.",
        caution="Do not raise the stop temperature instead.",
    )


def _too_hot(
    setup: Setup, drive: Drive, part: str, end: str, value: float, hot: float
) -> SetupFinding:
    key = drive_key(setup, drive, f"{part}_{end}_c")
    return SetupFinding(
        check="heat_limit_high",
        keys=(key,),
        severity=Severity.NOTE,
        value=value,
        limit=hot,
        message=f"{_who(setup, drive)}: {key.rsplit('.', 1)[1]} is {num(value, '°C')}; small "
        f"{part}s are rarely made for more than {num(hot, '°C')}.",
        why="Magnets, winding or capacitors may suffer before the limit acts.",
        suggest=(Suggestion(key, hot, "what such parts usually bear, if no datasheet says more"),),
        cost="Power is cut earlier on a long climb.",
        caution="The datasheet of the part decides.",
    )
