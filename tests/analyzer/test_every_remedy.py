"""Every remedy of every cause and event on many builds: nothing that is never advised, always what
it costs and its caution, and numbers that keep a tenth of the lowest rating after the lights."""

from __future__ import annotations

import re
from functools import cache
from itertools import product

import numpy as np
import pytest
from handmade import clock, make_ride, make_setup
from never_advised import forbidden

from analyzer.causes.combine import MODELS
from analyzer.conditions import Conditions
from analyzer.cost_of_limit import Hill
from analyzer.cutout_remedies import remedy_of as loss_remedy
from analyzer.events import Event, LimitRef, Peak
from analyzer.limit_remedies import limit_remedy
from analyzer.limits import LimitCheck, Tried
from analyzer.loss_facts import Facts, around
from analyzer.loss_search import Loss, search_losses
from analyzer.losses import DriveLoss
from analyzer.power_reduced import REMEDY
from analyzer.remedies import _BALANCE, remedy_of
from analyzer.setup_check import check_setup
from analyzer.words import CutoutCause, EventKind, LimitRole, Severity, Verdict
from importers.setup_types import Drive

FULL_BMS = {
    "discharge_rating_a": 50.0, "charge_rating_a": 20.0, "discharge_trip_a": 75.0,
    "discharge_trip_delay_s": 1.0, "charge_trip_a": 30.0, "charge_trip_delay_s": 1.0,
    "cell_low_v": 2.7, "cell_high_v": 4.25,
}  # fmt: skip
RATINGS = {"discharge_rating_a": 60.0, "charge_rating_a": 12.0}
BUILDS = {
    "one drive": (("solo",), FULL_BMS, RATINGS | {"aux_a": 1.0}, 120.0),
    "two drives": (("left", "right"), FULL_BMS, RATINGS | {"aux_a": 1.0}, 165.0),
    "three drives": (("front", "left", "right"), FULL_BMS, RATINGS | {"aux_a": 4.0}, 310.0),
    "no trips": (("left", "right"), RATINGS, RATINGS, 165.0),
    "no BMS ratings": (("left", "right"), {}, RATINGS | {"aux_a": 0.5}, None),
    "no ratings at all": (("left", "right"), {}, {}, None),
    "lights use it up": (("left", "right"), {"discharge_rating_a": 5.0}, {"aux_a": 5.0}, 165.0),
}
"""Drives, [bms], ratings of the cells and lights, mass."""
LIMITS = {"none set": {}, "set high": {"battery_drive_a": 40.0, "battery_brake_a": 15.0},
          "set low": {"battery_drive_a": 5.0, "battery_brake_a": 1.0}}  # fmt: skip
MECHANICAL = ("mechanical brake must hold the loaded vehicle", "topping distance grows", "walking")


def build_of(name, limits):
    drives, bms, pack, mass = BUILDS[name]
    own = dict(
        LIMITS[limits], phase_drive_a=60.0, derate_from_v=46.0, stop_at_v=42.0, motor_stop_c=120.0
    )
    return make_setup(
        drives=tuple(Drive(one, **own) for one in drives),
        bms=bms, pack=pack, vehicle={} if mass is None else {"mass_kg": mass},
    )  # fmt: skip


def ride_of(setup, sign):
    t = clock(60.0)
    on = (t % 10 < 7) * 1.0
    channels = {}
    for one in setup.drives:
        channels |= {
            f"{one.name}.battery_current_a": sign * 24.0 * on,
            f"{one.name}.battery_voltage_v": 52.0,
            f"{one.name}.throttle_pct": sign * 80.0 * on,
        }
    return make_ride(t, channels, drives=setup.drive_names)


def state_of(setup):
    hill = Hill(9.6, 420.0, "Mill Lane", 0.0, 60.0, 78.0, 0.2)
    return Conditions(None, None, None, 0.1, None, setup.vehicle.mass_kg, (hill,), 1.04, 1.0)


@cache
def remedies_of(name, limits):
    """(subject, texts) of everything the analysis can advise on this build."""
    return tuple(_remedies(build_of(name, limits)))


def _remedies(setup):
    for sign in (1, -1):
        ride, state = ride_of(setup, sign), state_of(setup)
        _, search = search_losses(ride, setup)
        part = DriveLoss(setup.drives[0].name, sign, 500, 500, 520, 540, 0.1, "gone")
        here = around(Loss(sign, (part,)), search, state)
        facts = Facts(numbers={"pack_current_a": sign * 48.0, "peak_5s_a": sign * 52.0})
        for cause in CutoutCause:
            yield cause.value, loss_remedy(cause, here, facts)
        way = "discharge" if sign > 0 else "charge"
        keys = (f"bms.{way}_trip_a", "drives.left.stop_at_v", "drives.left.motor_stop_c")
        measures = (("current_to_line_a", 30.0), ("highest_current_a", 45.0))
        for kind, flavour, key in product(EventKind, ("", "empty", "too_much_current"), keys):
            event = Event(
                kind, 5.0, 25.0, setup.drive_names, Severity.ACT,
                Peak("pack_current_a", sign * 52.0), LimitRef(key, 40.0),
                flavour=flavour, measures=measures,
            )  # fmt: skip
            yield kind.value, remedy_of(event, ride, setup, state)


def limit_remedies(setup):
    """What is advised about every limit that can be reached."""
    keys = [f"{t}.{w}_{n}_a" for t in ("bms", "pack") for w in ("discharge", "charge")
            for n in ("rating", "peak", "trip")]  # fmt: skip
    keys += ["wiring.fuse_a", "bms.cell_low_v", "pack.min_charge_temp_c"]
    keys += [f"drives.x.{n}" for n in ("battery_drive_a", "battery_brake_a", "phase_drive_a",
             "stop_at_v", "motor_stop_c", "controller_derate_c", "overvoltage_v")]  # fmt: skip
    for key, verdict in product(keys, Verdict):
        unit = {"a": "A", "v": "V", "c": "°C"}[key[-1]]
        check = LimitCheck(
            key, LimitRole.RATING, 40.0, unit, 46.0, 1.0, None, None, verdict, 115.0,
            Tried(None, None, None, 0),
        )  # fmt: skip
        yield limit_remedy(check, setup, 0.1)


def test_a_rating_for_driving_asks_for_less_driving():
    setup = build_of("two drives", "set high")
    told = {}
    for key in ("bms.discharge_rating_a", "bms.charge_rating_a", "wiring.fuse_a"):
        check = LimitCheck(
            key, LimitRole.RATING, 40.0, "A", 46.0, 1.0, None, None, Verdict.EXCEEDED, 115.0,
            Tried(None, None, None, 0),
        )  # fmt: skip
        told[key] = "when braking" in limit_remedy(check, setup, 0.1)[0]
    assert list(told.values()) == [False, True, False]


def test_a_limit_reached_says_what_to_do_its_cost_and_its_caution():
    for name, limits in ALL:
        for texts in limit_remedies(build_of(name, limits)):
            assert not texts or [one.split(":")[0] for one in texts[-2:]] == ["Cost", "Caution"]
            if any("limit when braking" in one for one in texts):
                assert all(one in " ".join(texts) for one in MECHANICAL)


ALL = list(product(BUILDS, LIMITS))


@pytest.mark.parametrize(("name", "limits"), ALL)
def test_nothing_is_advised_that_is_never_advised(name, limits):
    setup = build_of(name, limits)
    texts = {one for _, remedy in remedies_of(name, limits) for one in remedy}
    texts |= {one for model in MODELS for one in model.confirm}
    texts |= {one for remedy in limit_remedies(setup) for one in remedy}
    texts |= {one for remedy in (*REMEDY.values(), *_BALANCE.values()) for one in remedy}
    for found in check_setup(setup).findings:
        texts |= {found.message, found.why, found.cost, found.caution}
        texts |= {one.why for one in found.suggest}
    assert len(texts) > 60
    assert forbidden(texts) == []


@pytest.mark.parametrize(("name", "limits"), ALL)
def test_every_cause_says_what_to_do_its_cost_and_its_caution(name, limits):
    causes = {cause.value for cause in CutoutCause}
    for subject, texts in remedies_of(name, limits):
        if subject not in causes:
            continue
        assert not texts[0].startswith(("Cost:", "Caution:")), subject
        assert subject == "unknown" or any(one.startswith("Cost:") for one in texts), subject
        assert texts[-1].startswith("Caution:"), subject


def test_every_cause_says_what_would_confirm_it():
    assert {model.cause for model in MODELS if model.confirm} >= set(CutoutCause) - {
        CutoutCause.UNKNOWN
    }


@pytest.mark.parametrize(("name", "limits"), ALL)
def test_a_limit_advised_keeps_a_tenth_after_the_lights(name, limits):
    """Battery currents of controllers on one pack and lights add up (Kirchhoff's current law)."""
    setup = build_of(name, limits)
    aux_a = setup.pack.aux_a or 0.0
    told = 0
    for _, texts in remedies_of(name, limits):
        for text in texts:
            found = re.match(r"Set .* \(battery_(drive|brake)_a.*?\) to ([\d.]+) A or less", text)
            if not found:
                continue
            told += 1
            way = "discharge" if found[1] == "drive" else "charge"
            given = [getattr(one, f"{way}_rating_a") for one in (setup.bms, setup.pack)]
            lowest = min(one for one in given if one is not None)
            lights = aux_a if found[1] == "drive" else 0.0
            used = len(setup.drives) * float(found[2]) + lights
            assert used <= 0.9 * lowest + 1e-9, text
            in_hand = float(re.search(r"(\d+) % under", text)[1])
            assert in_hand == pytest.approx(100 * (1 - used / lowest), abs=0.51)
    rated = name not in ("no ratings at all", "lights use it up")
    assert (told > 0) == (rated and limits != "set low")


@pytest.mark.parametrize(("name", "limits"), ALL)
def test_less_braking_always_comes_with_the_mechanical_brake(name, limits):
    seen = 0
    for _, texts in remedies_of(name, limits):
        all_of_it = " ".join(texts)
        if re.search(r"(Set|Lower) [^.]*limit when braking", all_of_it):
            seen += 1
            assert all(one in all_of_it for one in MECHANICAL), all_of_it
    assert seen > 0 or limits == "set low" or name == "no ratings at all"


def test_without_ratings_no_current_is_invented():
    for subject, texts in remedies_of("no ratings at all", "set high"):
        if subject in ("bms_overcurrent_discharge", "bms_overcurrent_charge", "bms_overheat"):
            assert not re.search(r"to \d[\d.]* A", " ".join(texts)), texts


def test_numbers_that_remedies_end_on_are_finite():
    for name, limits in ALL:
        for _, texts in remedies_of(name, limits):
            assert not re.search(r"\b(nan|inf|None)\b", " ".join(texts)), texts
    assert np.isfinite(len(ALL))
