"""Currents of controllers on one pack add up (Kirchhoff); the sums here are worked by hand.

What margin to keep (10 %) and which ratings to hold a sum against: common practice, no source.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from setup_maker import TRIKE, setup_of

from analyzer.setup_check import SetupCheck, SetupFinding, check_setup
from analyzer.words import Severity

PACK = '[pack]\nchemistry = "nmc"\nseries = 14\ncapacity_ah = 17.5\n'


def check(text: str) -> SetupCheck:
    return check_setup(setup_of(text))


def drives(drive_a: float | None = None, brake_a: float | None = None, count: int = 2) -> str:
    text = "[drives.d0]\n"
    text += "" if drive_a is None else f"battery_drive_a = {drive_a}\n"
    text += "" if brake_a is None else f"battery_brake_a = {brake_a}\n"
    return text + "".join(f'[drives.d{n}]\nsame_as = "d0"\n' for n in range(1, count))


def sums(text: str, way: str = "drive") -> list[SetupFinding]:
    name = f"sum_of_battery_{way}_limits"
    return [one for one in check(text).findings if one.check == name]


@pytest.mark.parametrize(
    ("each_a", "count", "aux_a", "rating_a", "severity", "suggested_a"),
    [
        # references, section 13: 2 x 25 A = 50 A needs a BMS of 50 A; 30 A allows 15 A each.
        (25.0, 2, 0.0, 50.0, Severity.WATCH, 22.5),  # 50 of 50: nothing in hand
        (25.0, 2, 0.0, 30.0, Severity.ACT, 13.5),  # 0.9 x 30 / 2
        (15.0, 2, 0.0, 30.0, Severity.WATCH, 13.5),
        (13.5, 2, 0.0, 30.0, None, None),  # 27 of 30: exactly 10 % in hand
        (25.0, 2, 1.0, 50.0, Severity.ACT, 22.0),  # 51 of 50; (45 - 1) / 2
        (17.5, 2, 1.0, 40.0, None, None),  # 36 of 40
        (17.6, 2, 1.0, 40.0, Severity.WATCH, 17.5),
        (20.0, 1, 0.0, 30.0, None, None),
        (28.0, 1, 0.0, 30.0, Severity.WATCH, 27.0),
        (15.0, 3, 0.0, 40.0, Severity.ACT, 12.0),  # 45 of 40; 36 / 3
        (3.0, 2, 0.0, 5.0, Severity.ACT, 2.2),  # 4.5 / 2 = 2.25, down to a tenth
    ],
)
def test_driving_against_the_bms(each_a, count, aux_a, rating_a, severity, suggested_a):
    text = PACK + f"aux_a = {aux_a}\n[bms]\ndischarge_rating_a = {rating_a}\n"
    found = sums(text + drives(each_a, count=count))
    assert [one.severity for one in found] == ([] if severity is None else [severity])
    for one in found:
        assert one.value == pytest.approx(each_a * count + aux_a)
        assert one.limit == rating_a
        aux = ("pack.aux_a",) if aux_a else ()
        assert one.keys == ("drives.d0.battery_drive_a", *aux, "bms.discharge_rating_a")
        assert [(s.key, s.value) for s in one.suggest] == [
            ("drives.d0.battery_drive_a", suggested_a)
        ]
        assert one.cost
        assert one.why


@pytest.mark.parametrize(
    ("key", "way"),
    [
        ("bms.discharge_rating_a", "drive"),
        ("pack.discharge_rating_a", "drive"),
        ("wiring.fuse_a", "drive"),
        ("wiring.connector_rating_a", "drive"),
        ("bms.discharge_trip_a", "drive"),
        ("bms.discharge_peak_a", "drive"),
        ("pack.discharge_peak_a", "drive"),
        ("bms.charge_rating_a", "brake"),
        ("pack.charge_rating_a", "brake"),
        ("wiring.fuse_a", "brake"),
        ("wiring.connector_rating_a", "brake"),
        ("bms.charge_trip_a", "brake"),
        ("bms.charge_peak_a", "brake"),
        ("pack.charge_peak_a", "brake"),
    ],
)
def test_every_rating_is_held_against_the_sum(key, way):
    table, name = key.split(".")
    line = f"{name} = 30.0\n"
    text = PACK + (line if table == "pack" else f"[{table}]\n{line}")
    set_to = {f"{way}_a": 16.0}
    (one,) = sums(text + drives(**set_to), way)
    assert one.severity is Severity.ACT
    assert (one.value, one.limit) == (32.0, 30.0)
    assert one.keys[-1] == key
    assert sums(text + drives(**{f"{way}_a": 13.0}), way) == []
    missing = {k for nc in check(PACK + drives(**set_to)).not_checked for k in nc.missing}
    assert key in missing


def test_a_trip_met_exactly_opens():
    text = PACK + "[bms]\ndischarge_trip_a = 40.0\n"
    assert sums(text + drives(20.0))[0].severity is Severity.ACT
    assert sums(text + drives(19.0))[0].severity is Severity.WATCH


def test_lights_do_not_add_to_braking():
    text = PACK + "aux_a = 2.0\n[bms]\ncharge_rating_a = 20.0\n" + drives(brake_a=10.0)
    (one,) = sums(text, "brake")
    assert (one.value, one.severity) == (20.0, Severity.WATCH)
    assert "pack.aux_a" not in one.keys


def test_all_suggestions_stay_under_the_lowest_rating():
    text = (
        PACK + "discharge_rating_a = 30.0\n[bms]\ndischarge_rating_a = 40.0\n"
        "[wiring]\nfuse_a = 25.0\n" + drives(25.0)
    )
    found = sums(text)
    assert len(found) == 3
    for one in found:  # 0.9 x 25 A / 2 = 11.25 A, down to half an ampere
        assert [s.value for s in one.suggest] == [11.0]
    assert (
        sums(
            text.replace("25.0\n[drives.d1", "11.0\n[drives.d1").replace(
                "battery_drive_a = 25.0", "battery_drive_a = 11.0"
            )
        )
        == []
    )


def test_the_side_that_is_low_enough_is_left_alone():
    text = PACK + "[bms]\ndischarge_rating_a = 40.0\n" + drives(30.0) + "battery_drive_a = 12.0\n"
    (one,) = sums(text)
    assert [(s.key, s.value) for s in one.suggest] == [("drives.d0.battery_drive_a", 18.0)]
    assert one.keys[:2] == ("drives.d0.battery_drive_a", "drives.d1.battery_drive_a")


def test_a_drive_without_a_limit_is_said_and_the_rest_still_held():
    text = (
        PACK + "[bms]\ndischarge_rating_a = 40.0\n[drives.a]\nbattery_drive_a = 45.0\n[drives.b]\n"
    )
    result = check(text)
    (one,) = [f for f in result.findings if f.check == "sum_of_battery_drive_limits"]
    assert one.severity is Severity.ACT
    assert "at least" in one.message
    assert any("drives.b.battery_drive_a" in nc.missing for nc in result.not_checked)
    quiet = check(text.replace("45.0", "20.0"))
    assert not any("40 A" in line for line in quiet.held)


def test_a_peak_is_said_where_the_sum_is_over_the_rating_but_within_it():
    text = PACK + "discharge_rating_a = 40.0\ndischarge_peak_a = 60.0\ndischarge_peak_s = 10.0\n"
    (one,) = sums(text + drives(25.0))
    assert "60 A is allowed for 10 s only" in one.message


def test_separate_ports_have_no_charge_trip_in_the_way():
    text = PACK + '[bms]\ncharge_trip_a = 10.0\nports = "separate"\n' + drives(brake_a=8.0)
    assert sums(text, "brake") == []
    assert len(sums(text.replace("separate", "common"), "brake")) == 1


def test_the_sample_that_fits():
    grave = [f for f in check(TRIKE).findings if f.severity is not Severity.NOTE]
    assert grave == []


current = st.floats(0.2, 200.0).map(lambda x: round(x, 2))


@settings(deadline=None, max_examples=60)
@given(st.lists(current, min_size=1, max_size=5), current, current, st.floats(0.0, 5.0))
def test_suggestions_taken_leave_ten_per_cent(limits, bms_a, cells_a, aux_a):
    def text(values):
        parts = "".join(f"[drives.d{n}]\nbattery_drive_a = {v}\n" for n, v in enumerate(values))
        return (
            PACK + f"discharge_rating_a = {cells_a}\naux_a = {aux_a:.2f}\n"
            f"[bms]\ndischarge_rating_a = {bms_a}\n{parts}"
        )

    found = sums(text(limits))
    room = 0.9 * min(bms_a, cells_a) - round(aux_a, 2)
    assert bool(found) == (sum(limits) > room + 1e-6) or sum(limits) == pytest.approx(room)
    if found and found[0].suggest:
        new = {s.key: s.value for s in found[0].suggest}
        changed = [new.get(f"drives.d{n}.battery_drive_a", v) for n, v in enumerate(limits)]
        assert all(after <= before for after, before in zip(changed, limits, strict=True))
        assert sums(text(changed)) == []
