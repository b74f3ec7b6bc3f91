"""Every machine output against a strict reading of the contract, for rides that lack something."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from contract.shape import (
    AGEING,
    COMPARE,
    LIMITS,
    PREDICT,
    RIDE,
    SETUP,
    faults,
    unexplained,
)

from hillproof.jobs import analyse_ride
from reports.json_out import ride_json

SAMPLES = Path(__file__).parents[2] / "sample_logs"
BARE = """[pack]
chemistry = "nmc"
series = 14
capacity_ah = 18
[drives.left]
[drives.right]
"""


def sample(side):
    return pd.read_csv(SAMPLES / "hill" / f"{side}.csv")


def without(*words):
    def cut(frame):
        return frame[[name for name in frame if not any(one in name for one in words)]]

    return cut


def constant(frame):
    frame = frame.copy()
    for name in frame.columns[1:]:
        frame[name] = frame[name].iloc[50]
    return frame


def blank(frame):
    frame = frame.copy()
    frame.loc[100:3000, frame.columns[1:]] = np.nan
    return frame


def one_drive():
    text = (SAMPLES / "setup.toml").read_text("utf-8")
    return text[: text.index("[drives.right]")]


def three_drives():
    return (SAMPLES / "setup.toml").read_text("utf-8") + '\n[drives.middle]\nsame_as = "left"\n'


TWO = ("left", "right")
RIDES = {
    "two drives": (TWO, None, None),
    "one drive": (("left",), one_drive, None),
    "three drives": ((*TWO, "middle"), three_drives, None),
    "no demand": (TWO, None, without("Demand")),
    "no speed": (TWO, None, without("speed")),
    "no currents": (TWO, None, without("current")),
    "voltage alone": (("left",), one_drive, lambda one: one.iloc[:, [0, 2]]),
    "ten rows": (TWO, None, lambda one: one.head(10)),
    "constants": (TWO, None, constant),
    "a blank stretch": (TWO, None, blank),
    "nothing set": (TWO, lambda: BARE, None),
}


@pytest.mark.parametrize("name", RIDES)
def test_a_ride(tmp_path, name):
    drives, setup, change = RIDES[name]
    text = (SAMPLES / "setup.toml").read_text("utf-8") if setup is None else setup()
    (tmp_path / "setup.toml").write_text(text, "utf-8")
    logs = []
    for drive in drives:
        frame = sample("left" if drive == "middle" else drive)
        frame = frame if change is None else change(frame)
        frame.to_csv(tmp_path / f"{drive}.csv", index=False)
        logs.append(f"{drive}={tmp_path / drive}.csv")
    told = json.loads(ride_json(analyse_ride(logs, str(tmp_path / "setup.toml"))))
    assert faults(told, RIDE) == []
    assert unexplained(told) == []
    if len(drives) == 1:
        balance = dict(told["balance"])
        assert set(balance.pop("in_force")) == {"left"}
        assert set(balance.values()) == {None}


def test_a_setup():
    from setup_maker import TRIKE, setup_of

    from analyzer.setup_check import check_setup
    from reports.setup_json import setup_json

    for text in (TRIKE, TRIKE.replace("battery_drive_a = 17.5", "battery_drive_a = 28.0"), BARE):
        told = json.loads(setup_json(check_setup(setup_of(text))))
        assert faults(told, SETUP) == []


def test_limits_and_compare():
    from made.ride_results import bare_result, made_result

    from analyzer.compare import compare_rides
    from analyzer.limits_merge import merge_limits
    from reports.compare_json import compare_json
    from reports.limits_json import limits_json

    full, bare = made_result(), bare_result()
    for one, two in ((full, full), (full, bare), (bare, bare)):
        told = json.loads(compare_json(compare_rides(one, two)))
        assert faults(told, COMPARE) == []
        told = json.loads(limits_json(merge_limits([("one", one), ("two", two)])))
        assert faults(told, LIMITS) == []


def test_predict_and_ageing():
    from made.hostile_pages import prediction
    from setup_maker import setup_of

    from analyzer.ageing import judge_ageing
    from reports.ageing_json import ageing_json
    from reports.predict_json import predict_json
    from simulator.books import make_book

    assert faults(json.loads(predict_json(prediction())), PREDICT) == []
    kept, _ = make_book(3, rides=40, months=8, growth_pct_per_year=7.0, jump_pct=8.0)
    for rides in (kept, kept[:3], kept[:1]):
        told = json.loads(ageing_json(judge_ageing(rides, setup_of())))
        assert faults(told, AGEING) == []
