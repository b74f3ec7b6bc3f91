"""A run as files: which channels, how often, with what noise, in whose spelling.

Noise and steps are those of small controllers and cheap GPS (common practice, no source).
Headers are plain words with units; nothing here spells them as one maker would.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from probe.run import Run

BEGAN = datetime(2031, 4, 6, 9, 30, tzinfo=UTC)
EARTH_M_PER_DEG = 111_320.0

# (quantity, plain header, terse header), `{d}` the drive's name
SIDE_WORDS = {
    "battery_a": ("{d} battery current [A]", "{d}_battery_current_A"),
    "voltage_v": ("{d} battery voltage [V]", "{d}_battery_voltage_V"),
    "phase_a": ("{d} phase current [A]", "{d}_phase_current_A"),
    "rpm": ("{d} motor speed [rpm]", "{d}_motor_rpm"),
    "erpm": ("{d} electrical rpm", "{d}_electrical_rpm"),
    "demand": ("{d} throttle [%]", "{d}_throttle_pct"),
    "duty": ("{d} duty [%]", "{d}_duty_pct"),
    "motor_c": ("{d} motor temperature [°C]", "{d}_motor_temp_C"),
    "controller_c": ("{d} controller temperature [°C]", "{d}_controller_temp_C"),
}


@dataclass(frozen=True)
class Style:
    """How one builder logs."""

    layout: str = "wide"  # wide | per_drive | long
    rate_hz: float = 20.0
    channels: tuple[str, ...] = ("battery_a", "phase_a", "rpm", "demand", "motor_c", "controller_c")
    gps: str = "in"  # in | apart | none
    bms: str = "none"  # in | apart | none
    bms_hz: float = 5.0
    cells: bool = False
    terse: bool = False
    comma: bool = False  # decimal comma, semicolons
    time: str = "s"  # s | ms | iso
    current_gain: float = 1.0
    voltage_gain: float = 1.0
    noise: float = 1.0
    flipped: bool = False  # battery current logged charge-positive
    dies_with_supply: bool = False
    lost_s: float = 0.0  # what an unwritten block takes with it
    stops_at_s: float | None = None
    gap: tuple[float, float] | None = None
    frozen: tuple[str, float, float] | None = None  # a side whose numbers stand still
    clock_apart_s: float = 0.0  # BMS and GPS files' clock ahead
    began: datetime = BEGAN


def _round(values: np.ndarray, step: float) -> np.ndarray:
    return np.round(np.round(values / step) * step, 6)


def _side_values(run: Run, name: str, rows: np.ndarray, style: Style, rng: np.random.Generator):
    side, z = run.side[name], style.noise
    amps = side["battery_a"][rows] * style.current_gain * (-1.0 if style.flipped else 1.0)
    got = {
        "battery_a": _round(amps + 0.05 * z * rng.standard_normal(len(rows)), 0.01),
        "voltage_v": _round(
            run.col["bus_v"][rows] * style.voltage_gain + 0.02 * z * rng.standard_normal(len(rows)),
            0.1,
        ),
        "phase_a": _round(side["phase_a"][rows] + 0.3 * z * rng.standard_normal(len(rows)), 0.1),
        "rpm": _round(side["omega"][rows] * 60.0 / (2.0 * np.pi), 1.0),
        "erpm": _round(side["omega"][rows] * 60.0 / (2.0 * np.pi) * run.machine.pole_pairs, 1.0),
        "demand": _round(side["demand"][rows] * 100.0, 0.5),
        "duty": _round(side["duty"][rows] * 100.0, 0.1),
        "motor_c": _round(side["hear_motor_c"][rows], 0.5),
        "controller_c": _round(side["controller_c"][rows], 0.5),
    }
    return {key: got[key] for key in style.channels if key in got}


def _gps_values(run: Run, rows: np.ndarray, rng: np.random.Generator):
    x = run.col["x"][rows]
    angle = 0.6 + 0.25 * np.sin(x / 180.0)
    step = np.diff(x, prepend=x[0])
    east, north = np.cumsum(step * np.cos(angle)), np.cumsum(step * np.sin(angle))
    lat = 46.7 + north / EARTH_M_PER_DEG
    lon = 7.9 + east / (EARTH_M_PER_DEG * np.cos(np.radians(46.7)))
    drift = 1.0 * rng.standard_normal((2, len(rows))) / EARTH_M_PER_DEG
    height = run.road.height_at(x) + 1.0 * rng.standard_normal(len(rows))
    speed = np.maximum(run.col["v"][rows] + 0.08 * rng.standard_normal(len(rows)), 0.0)
    return {
        "Latitude [deg]": np.round(lat + drift[0], 7),
        "Longitude [deg]": np.round(lon + drift[1], 7),
        "Altitude [m]": np.round(height, 1),
        "GPS speed [km/h]": np.round(speed * 3.6, 2),
    }


def _bms_values(run: Run, rows: np.ndarray, style: Style, rng: np.random.Generator):
    cells = run.machine.cells
    z = style.noise
    got = {
        "Pack voltage [V]": _round(
            run.col["pack_v"][rows] * style.voltage_gain
            + 0.01 * z * rng.standard_normal(len(rows)),
            0.01,
        ),
        "Pack current [A]": _round(
            run.col["pack_a"][rows] * style.current_gain
            + 0.05 * z * rng.standard_normal(len(rows)),
            0.1,
        ),
        "Pack temperature [°C]": _round(run.col["temp_c"][rows], 0.1),
    }
    if style.cells:
        mean = run.col["pack_v"][rows] / cells.series
        got["Lowest cell [V]"] = _round(run.col["low_v"][rows], 0.001)
        got["Highest cell [V]"] = _round(np.maximum(run.col["high_v"][rows], mean), 0.001)
    return got


def _times(seconds: np.ndarray, style: Style) -> tuple[str, list[str]]:
    if style.time == "ms":
        return "time [ms]", [str(round(s * 1000.0)) for s in seconds]
    if style.time == "iso":
        stamps = [style.began + timedelta(seconds=float(s)) for s in seconds]
        return "date and time", [
            f"{s:%Y-%m-%dT%H:%M:%S}.{s.microsecond // 1000:03d}Z" for s in stamps
        ]
    return "time [s]", [f"{s:.3f}" for s in seconds]


def _write(path: Path, seconds: np.ndarray, columns: dict[str, np.ndarray], style: Style) -> None:
    header, stamps = _times(seconds, style)
    mark = ";" if style.comma else ","
    texts = []
    for values in columns.values():
        if values.dtype.kind in "US":
            texts.append(list(values))
            continue
        column = ["" if np.isnan(v) else f"{v:.7f}".rstrip("0").rstrip(".") for v in values]
        texts.append([c.replace(".", ",") for c in column] if style.comma else column)
    if style.comma:
        stamps = [s.replace(".", ",") for s in stamps] if style.time != "iso" else stamps
    lines = [mark.join([header, *columns])]
    lines += [mark.join(row) for row in zip(stamps, *texts, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _rows(run: Run, rate_hz: float, style: Style, until_s: float) -> np.ndarray:
    t = np.arange(0.0, min(run.t_s[-1], until_s), 1.0 / rate_hz)
    if style.gap is not None:
        t = t[(t < style.gap[0]) | (t >= style.gap[1])]
    return np.minimum(np.round(t * 100.0).astype(int), len(run.t_s) - 1)


def write_logs(run: Run, folder: Path, style: Style, seed: int = 1) -> list[str]:
    """The files a command line is given, `NAME=path` where a file holds one drive, gps or bms."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    until = np.inf if style.stops_at_s is None else style.stops_at_s
    if style.dies_with_supply and run.opened:
        until = min(until, run.opened[0][1] + 0.05 - style.lost_s)
    rows = _rows(run, style.rate_hz, style, until)
    seconds = run.t_s[rows]
    words = 1 if style.terse else 0
    per = {name: _side_values(run, name, rows, style, rng) for name in run.side}
    if style.frozen is not None:
        name, a, b = style.frozen
        still = (seconds >= a) & (seconds < b)
        for values in per[name].values():
            values[still] = values[np.argmax(still) - 1] if still.any() else values[still]
    volts = _round(
        run.col["bus_v"][rows] * style.voltage_gain
        + 0.02 * style.noise * rng.standard_normal(len(rows)),
        0.05,
    )
    args: list[str] = []
    gps = _gps_values(run, rows, rng) if style.gps == "in" else {}
    bms = _bms_values(run, rows, style, rng) if style.bms == "in" else {}
    if style.layout == "wide":
        table: dict[str, np.ndarray] = {}
        if not bms:
            table["battery_voltage_V" if style.terse else "Battery voltage [V]"] = volts
        for name, values in per.items():
            table |= {SIDE_WORDS[key][words].format(d=name): v for key, v in values.items()}
        _write(folder / "ride.csv", seconds, table | gps | bms, style)
        args.append(str(folder / "ride.csv"))
    elif style.layout == "per_drive":
        for i, (name, values) in enumerate(per.items()):
            table = {"battery_voltage_V" if style.terse else "battery voltage [V]": volts}
            table |= {
                SIDE_WORDS[key][words].format(d="").strip(" _"): v for key, v in values.items()
            }
            _write(
                folder / f"{name}.csv",
                seconds,
                table | (gps if i == 0 else {}) | (bms if i == 0 else {}),
                style,
            )
            args.append(f"{name}={folder / f'{name}.csv'}")
    else:
        names = list(per)
        order = np.argsort(np.tile(np.arange(len(rows)), len(names)), kind="stable")
        table = {"drive": np.concatenate([np.full(len(rows), n) for n in names])[order]}
        table["battery voltage [V]"] = np.tile(volts, len(names))[order]
        for key in per[names[0]]:
            label = SIDE_WORDS[key][words].format(d="").strip(" _")
            table[label] = np.concatenate([per[n][key] for n in names])[order]
        for key, values in (gps | bms).items():
            table[key] = np.tile(values, len(names))[order]
        _write(folder / "ride.csv", np.tile(seconds, len(names))[order], table, style)
        args.append(str(folder / "ride.csv"))
    late = np.inf if style.stops_at_s is None else style.stops_at_s
    if style.gps == "apart":
        rows = _rows(run, 1.0, style, late)
        _write(
            folder / "gps.csv",
            run.t_s[rows] + style.clock_apart_s,
            _gps_values(run, rows, rng),
            style,
        )
        args.append(f"gps={folder / 'gps.csv'}")
    if style.bms == "apart":
        rows = _rows(run, style.bms_hz, style, late)
        _write(
            folder / "bms.csv",
            run.t_s[rows] + style.clock_apart_s,
            _bms_values(run, rows, style, rng),
            style,
        )
        args.append(f"bms={folder / 'bms.csv'}")
    return args
