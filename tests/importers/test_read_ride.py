"""Several logs of one made ride become one table; logs that do not belong are refused."""

from datetime import UTC, datetime

import numpy as np
import pytest
from ride_logs import drive_log, log_of, made_ride, pack_log, track_log
from setup_maker import TRIKE, setup_of

from importers.errors import LogError
from importers.log_table import LogTable
from importers.read_ride import join_ride, read_ride
from importers.ride import Ride
from importers.setup_file import read_setup

SETUP = setup_of(TRIKE)
START = datetime(2031, 5, 4, 9, 12, tzinfo=UTC)


def joined(*tables: LogTable, typed: list[str | None] | None = None, **more) -> Ride:
    return join_ride(tables, SETUP, typed=typed or [None] * len(tables), **more)


def test_the_first_drives_samples_stay_as_they_are() -> None:
    ride = made_ride(1)
    left = drive_log(ride, file="left.csv", role=None)
    right = drive_log(ride, file="right.csv", role=None, from_s=3.0, offset_s=7.0, drift_ppm=50.0)
    out = joined(left, right)
    assert out.drives == ("left", "right")
    own = out.table["left.battery_current_a"].to_numpy()[: left.time_s.size]
    assert np.array_equal(own, left.columns["battery_current_a"])
    assert np.array_equal(out.time_s[: left.time_s.size], left.time_s)
    source = out.sources[1]
    assert source.clock_offset_s == pytest.approx(7.0, abs=0.02)
    assert source.clock_drift_ppm == pytest.approx(50.0, abs=8.0)
    # true rider's demand is shared half and half: what is left is noise and rounding
    apart = out.table["left.battery_current_a"] - out.table["right.battery_current_a"]
    assert apart.std() < 0.35


def test_the_order_given_sets_time_zero_and_the_setups_order_the_drives() -> None:
    ride = made_ride(2)
    right = drive_log(ride, file="right.csv", role=None)
    left = drive_log(ride, file="left.csv", role=None, from_s=10.0)
    out = joined(right, left)
    assert out.drives == ("left", "right")
    assert [one.role for one in out.sources] == ["right", "left"]
    assert out.sources[0].clock_offset_s == 0.0
    assert out.time_s[0] == 0.0
    assert out.table["left.battery_voltage_v"].isna().to_numpy()[:180].all()


def test_a_single_wide_log_is_not_resampled() -> None:
    log = drive_log(made_ride(4), file="a.csv", role=None, to_s=60.0)
    columns = {f"left.{name}": values for name, values in log.columns.items()}
    out = joined(log_of(log.time_s, columns, role="all"))
    for name, values in columns.items():
        assert np.array_equal(out.table[name].to_numpy(), values)


def test_a_bms_and_a_track_join() -> None:
    ride = made_ride(5)
    out = joined(
        drive_log(ride, file="left.csv", role=None),
        drive_log(ride, file="right.csv", role=None),
        pack_log(ride, from_s=-20.0),
        track_log(ride, from_s=-30.0, start=START),
    )
    assert {"pack_voltage_v", "pack_current_a", "latitude_deg", "gps_speed_mps"} <= set(out.table)
    assert out.time_s[0] == pytest.approx(-20.0, abs=1.1)  # earlier samples of the BMS
    assert out.start is not None
    # the track's clock reads START at true time -30 s plus its first fix's phase
    apart_s = (out.start - START).total_seconds()
    assert apart_s == pytest.approx(30.0, abs=1.3)
    assert any(about == "gps_speed_mps" for about, _ in out.notes)
    volts = out.table[["pack_voltage_v", "left.battery_voltage_v"]].dropna()
    assert (volts["pack_voltage_v"] - volts["left.battery_voltage_v"]).abs().median() < 0.4


def test_files_of_one_side_that_follow_one_another_are_one_ride_with_a_gap() -> None:
    ride = made_ride(6)
    before = drive_log(ride, file="left_1.csv", role=None, to_s=500.0)
    after = drive_log(ride, file="left_2.csv", role=None, from_s=530.0)
    out = joined(before, after)
    assert np.diff(out.time_s).max() == pytest.approx(30.0, abs=0.2)
    assert out.drives == ("left",)
    assert len(out.pieces) == 1
    # the other side logged on: no row is missing then, this side's are
    whole = joined(before, after, drive_log(ride, file="right.csv", role=None))
    assert np.diff(whole.time_s).max() < 0.2
    gap = (whole.time_s > 501.0) & (whole.time_s < 529.0)
    assert whole.table["left.battery_current_a"].to_numpy()[gap].size > 500
    assert np.isnan(whole.table["left.battery_current_a"].to_numpy()[gap]).all()
    assert np.isfinite(whole.table["right.battery_current_a"].to_numpy()[gap]).all()


def test_two_pieces_without_a_common_count_are_placed_by_the_other_side() -> None:
    ride = made_ride(7)
    before = drive_log(ride, file="left_1.csv", role=None, to_s=500.0)
    after = drive_log(ride, file="left_2.csv", role=None, from_s=530.0, offset_s=-530.0)
    out = joined(before, after, drive_log(ride, file="right.csv", role=None))
    left = np.isfinite(out.table["left.battery_current_a"].to_numpy())
    assert left.mean() > 0.95
    assert out.sources[1].clock_offset_s == pytest.approx(-530.0, abs=0.1)


def test_logs_that_do_not_belong_together_are_refused_with_the_reason() -> None:
    left = drive_log(made_ride(1), file="left.csv", role=None)
    other = drive_log(made_ride(2), file="right.csv", role=None)
    with pytest.raises(LogError, match=r"right\.csv: does not belong .* do not go together"):
        joined(left, other)


def test_files_of_one_side_that_overlap_and_disagree_are_refused() -> None:
    one = drive_log(made_ride(1), file="a.csv", role=None)
    two = drive_log(made_ride(2), file="b.csv", role=None)
    with pytest.raises(LogError, match=r"overlaps a\.csv"):
        joined(one, two, typed=["left", "left"])


def test_days_apart_is_not_one_ride() -> None:
    ride = made_ride(1)
    one = drive_log(ride, file="left_1.csv", role=None, to_s=300.0, start=START)
    later = START.replace(day=6)
    two = drive_log(ride, file="left_2.csv", role=None, from_s=400.0, start=later)
    with pytest.raises(LogError, match="h apart"):
        joined(one, two)


def test_in_doubt_the_line_to_type_is_printed() -> None:
    ride = made_ride(1)
    one, two = (drive_log(ride, file=name, role=None) for name in ("a b.csv", "c.csv"))
    with pytest.raises(LogError) as caught:
        joined(one, two)
    assert "hillproof ride 'left=a b.csv' right=c.csv" in str(caught.value)


def test_one_log_left_and_one_drive_left_go_together() -> None:
    ride = made_ride(1)
    one, two = (drive_log(ride, file=name, role=None) for name in ("a.csv", "b.csv"))
    assert joined(one, two, typed=["right", None]).sources[1].role == "left"


def test_a_naive_time_is_local_and_a_note_says_so() -> None:
    ride = made_ride(1)
    out = joined(drive_log(ride, file="left.csv", role=None, start=datetime(2031, 5, 4, 9, 12)))
    assert out.start is not None
    assert out.start.tzinfo is not None
    assert out.start.replace(tzinfo=None) == datetime(2031, 5, 4, 9, 12)
    assert any(about == "ride.start" and "local time" in text for about, text in out.notes)


def test_start_as_typed_for_logs_without_a_date() -> None:
    log = drive_log(made_ride(1), file="left.csv", role=None)
    assert joined(log).start is None
    assert joined(log, start=START).start == START


def test_a_log_without_a_voltage_is_refused() -> None:
    log = drive_log(made_ride(1), file="left.csv", role=None)
    columns = {"battery_current_a": log.columns["battery_current_a"]}
    with pytest.raises(LogError, match="no usable pack voltage"):
        joined(log_of(log.time_s, columns, file="left.csv"))


def test_a_setup_for_another_number_of_cells_is_named_as_the_reason(tmp_path) -> None:
    rows = "".join(f"{n / 10},{5 + n % 30},{51.5 - 0.05 * (n % 30)}\n" for n in range(300))
    log, setup = tmp_path / "left.csv", tmp_path / "setup.toml"
    log.write_text(f"Time [s],Battery current [A],Battery voltage [V]\n{rows}")
    setup.write_text('[pack]\nchemistry = "nmc"\nseries = 7\ncapacity_ah = 15\n[drives.left]\n')
    with pytest.raises(LogError, match=r"no voltage of this pack.*pack\.series"):
        read_ride([str(log)], read_setup(str(setup)))


@pytest.mark.parametrize("to_s", [0.55, 5.0, 40.0])
def test_short_rides_join_or_say_why(to_s: float) -> None:
    ride = made_ride(1)
    tables = [
        drive_log(ride, file=f"{side}.csv", role=None, to_s=to_s) for side in ("left", "right")
    ]
    out = joined(*tables)
    assert out.drives == ("left", "right")
    assert np.all(np.diff(out.time_s) > 0)
