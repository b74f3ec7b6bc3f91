"""Logs that say too little: bare words, formula letters, no units, no setup, unsigned currents,
electrical turns that are not marked. Here the reader may fail to read; it must not be sure and
wrong."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from ledger.made_headers import pick
from ledger.made_logs import Column, MadeFile, made_log

FORMULA = {
    "battery_current_a": "I bat|Ibat|I_dc|I in|Idc|I batt|Current|Current|Amps",
    "battery_voltage_v": "U bat|Vbat|U_dc|V in|Ubat|V batt|Voltage|Volts|U",
    "phase_current_a": "I phase|Iph|I_mot|Imot|Current|Motor|I motor|Iq",
    "motor_rpm": "n|n mot|rpm|Speed|Motor speed|revs|n_motor",
    "wheel_speed_mps": "v wheel|Speed|v|Wheel",
    "duty_pct": "D|duty|PWM|Duty",
    "throttle_pct": "thr|Throttle|Input|Demand|Pedal",
    "brake_pct": "brk|Brake|Lever",
    "power_w": "P|P bat|Power|P_el",
    "controller_temp_c": "T fet|T ctrl|Temp|Temperature|Temp 1|T1|T_esc",
    "motor_temp_c": "T mot|Tmot|Temp|Temp 2|T2|T motor",
    "pack_voltage_v": "U|V pack|Voltage|U pack|Upack",
    "pack_current_a": "I|I pack|Current|Ipack",
    "pack_temp_c": "T|T pack|Temp|T bat",
    "state_of_charge_pct": "SoC|soc|Charge|Level",
    "speed_mps": "v|Speed|v vehicle",
    "altitude_m": "h|Alt|Height",
}


@dataclass(frozen=True)
class HardFile:
    """A file, its truth, and whether the setup is given."""

    made: MadeFile
    with_setup: bool


def hard_log(seed: int) -> HardFile:
    """The file of that number, always the same."""
    rng = np.random.default_rng([seed, 991])
    made = made_log(seed + 5000)
    bare, nounit, unmarked = rng.random() < 0.6, rng.random() < 0.5, rng.random() < 0.3
    unsigned, clipped = rng.random() < 0.15, rng.random() < 0.15
    columns = [made.columns[0]]
    for one in made.columns[1:]:
        new = one
        key = (one.channel or "").rpartition(".")[2]
        side = (one.channel or "").rpartition(".")[0] if made.layout == "wide" else ""
        if bare and key in FORMULA:
            unit = (
                "" if nounit else f" [{one.unit}]" if one.unit not in ("", "electrical rpm") else ""
            )
            name = pick(rng, FORMULA[key].split("|"))
            new = replace(new, header=f"{side} {name}{unit}".strip(), unit_cell="")
        elif nounit and one.channel is not None and made.layout != "wide":
            new = replace(new, header=_stripped(one), unit_cell="")
        if key == "motor_rpm" and unmarked and one.unit == "rpm":
            new = replace(new, header=f"{side} Motor speed [rpm]".strip(), values=one.values * 7,
                          unit="electrical rpm", unit_cell="")  # fmt: skip
        if key in ("battery_current_a", "phase_current_a", "pack_current_a"):
            if unsigned:
                new = replace(new, values=np.abs(new.values), sign=1)
            elif clipped:
                new = replace(new, values=np.clip(new.values * new.sign, 0, None), sign=1)
        columns.append(new)
    text = "\n".join(
        [";".join(c.header for c in columns)]
        + [
            ";".join(row)
            for row in zip(
                *([f"{v:.{c.decimals}f}" for v in c.values] for c in columns), strict=True
            )
        ]
    )
    name = made.name if rng.random() < 0.5 else "log.csv"
    hard = replace(made, name=name, data=(text + "\n").encode(), columns=tuple(columns))
    return HardFile(hard, bool(rng.random() < 0.7))


def _stripped(one: Column) -> str:
    """The header without its unit."""
    for mark in (" [", " (", ", "):
        if mark in one.header:
            return one.header.rpartition(mark)[0]
    return one.header
