"""Makes a day of riding as one log: 24 h of two drives at 100 Hz, 28 columns, about 2 GB.

Simulated half hours over hills, with stops, follow one another while the charge of a very large
pack goes down. Each simulated one is used several times, shifted in voltage by what was drawn in
between and with noise of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.csv as pa_csv

RATE_HZ = 100.0
PART_S = 1800.0
DIFFERENT = 8
LARGE_PACK = 30.0
"""Times the sample build's charge and cells: a day's worth."""
HEADERS = {
    "battery_current_a": ("battery current [A]", 2),
    "battery_voltage_v": ("battery voltage [V]", 2),
    "phase_current_a": ("phase current [A]", 2),
    "motor_rpm": ("motor speed [rpm]", 0),
    "throttle_pct": ("demand [%]", 2),
    "duty_pct": ("duty [%]", 2),
    "controller_temp_c": ("controller temperature [°C]", 1),
    "motor_temp_c": ("motor temperature [°C]", 1),
}
WHOLE = {
    "pack_current_a": ("pack current [A]", 2),
    "pack_voltage_v": ("pack voltage [V]", 2),
    "pack_temp_c": ("pack temperature [°C]", 1),
    "latitude_deg": ("latitude [deg]", 7),
    "longitude_deg": ("longitude [deg]", 7),
    "altitude_m": ("altitude [m]", 1),
    "gps_speed_mps": ("GPS speed [m/s]", 2),
    "course_deg": ("course [deg]", 1),
    "cell_min_v": ("lowest cell [V]", 3),
    "cell_max_v": ("highest cell [V]", 3),
    "state_of_charge_pct": ("state of charge [%]", 1),
}


def make_day(folder: Path, *, hours: float = 24.0) -> tuple[Path, Path]:
    """Write `day.csv` and `setup.toml` into the folder and return their paths."""
    parts = round(hours * 3600 / PART_S)
    different = min(DIFFERENT, parts)
    log, setup = folder / "day.csv", folder / "setup.toml"
    writer = None
    begin_s = 0.0
    with pa.OSFile(str(log), "wb") as file:
        for table, text, start in _parts(parts, different):
            own = table.assign(time_s=table["time_s"] + begin_s)
            begin_s = float(own["time_s"].iloc[-1]) + 1 / RATE_HZ
            columns = _written(own, start)
            if writer is None:
                setup.write_text(text)
                writer = pa_csv.CSVWriter(file, columns.schema)
            writer.write_table(columns)
        assert writer is not None
        writer.close()
    return log, setup


def _parts(parts: int, different: int) -> Iterator[tuple[pd.DataFrame, str, pd.Timestamp]]:
    from simulator.make_samples import trike
    from simulator.rider import Rider
    from simulator.sensors import measure
    from simulator.simulate import simulate
    from simulator.terrain import hilly

    build = trike()
    cells = build.cells
    grown = ("rated_ah", "capacity_ah", "heat_j_k")
    larger = {name: getattr(cells, name) * LARGE_PACK for name in grown}
    cells = replace(cells, parallel=round(cells.parallel * LARGE_PACK), **larger)
    build = replace(build, cells=cells)
    rng = np.random.default_rng(3)
    each = parts // different + (parts % different > 0)
    charge, done = 0.96, 0
    for number in range(different):
        road = hilly(40_000.0, seed=number, steepest_pct=8.0)
        sim = simulate(
            build, road, Rider(cruise_mps=6.0), seed=100 + number, rate_hz=RATE_HZ, soc=charge,
            temp_c=15.0, most_s=PART_S,
        )  # fmt: skip
        table = measure(sim, RATE_HZ)
        used = float(sim.col["soc"][0] - sim.col["soc"][-1])
        fall_v = cells.series * 1.1 * used
        for again in range(min(each, parts - done)):
            own = table.copy()
            for name in own.columns:
                if name.endswith("voltage_v"):
                    own[name] = (own[name] - again * fall_v).round(2)
                elif name.endswith("current_a"):
                    own[name] += rng.normal(0, 0.02, len(own))
            yield own, sim.setup.text, pd.Timestamp(sim.start).tz_convert("UTC")
            done += 1
        charge = max(charge - each * used, 0.15)


def _written(table: pd.DataFrame, start: pd.Timestamp) -> pa.Table:
    stamps = start + pd.to_timedelta(table["time_s"], unit="s")
    out = {"date and time": pa.array(stamps.dt.strftime("%Y-%m-%dT%H:%M:%S.%f%z"))}
    for side in ("left", "right"):
        for name, (header, decimals) in HEADERS.items():
            out[f"{side} {header}"] = pa.array(table[f"{side}.{name}"].round(decimals))
    for name, (header, decimals) in WHOLE.items():
        if name in table:
            out[header] = pa.array(table[name].round(decimals))
    return pa.table(out)


if __name__ == "__main__":
    import sys
    import time

    top = Path(__file__).parents[1]
    sys.path[:0] = [str(top), str(top / "tests")]
    begin = time.process_time()
    made, _ = make_day(Path(sys.argv[1]), hours=float(sys.argv[2]))
    print(made, made.stat().st_size / 1e6, "MB", time.process_time() - begin, "s CPU")
