"""Days on which the readings came from elsewhere, and meters held against the log."""

from dataclasses import replace

import numpy as np
import pytest
from made.ride_results import made_result
from setup_maker import TRIKE, setup_of

from analyzer.ageing import judge_ageing
from analyzer.ageing_marks import logger_marks
from analyzer.ageing_parts import BY_HAND, Kept
from analyzer.hand_notes import METER_DIGIT_V, METER_SD, charges_by_hand, with_hand_rests
from analyzer.summary import summary_of
from importers.book_notes import HandNote
from simulator.books import make_book

SETUP = setup_of(TRIKE)
OLD, NEW = "pack_current_a<Bat amps", "left.battery_current_a<L in\nright.battery_current_a<R in"


def of_origins(*origins):
    kept, _ = make_book(1, rides=len(origins))
    return [
        Kept(one.name, replace(one.summary, origin=origin))
        for one, origin in zip(kept, origins, strict=True)
    ]


def test_each_change_of_columns_is_a_dated_mark():
    rides = of_origins(OLD, OLD, NEW, NEW, OLD)
    first, back = logger_marks(rides)
    assert first.date == rides[2].start
    assert "'L in', 'R in' (before: 'Bat amps')" in first.text
    assert "no change of the pack" in first.text
    assert back.date == rides[4].start


def test_a_charge_or_a_hand_measure_between_is_no_change():
    rides = of_origins(OLD, NEW, BY_HAND, OLD)
    rides[1] = Kept(rides[1].name, replace(rides[1].summary, kind="charge"))
    assert logger_marks(rides) == ()


def rested(volts):
    kept, _ = make_book(2, rides=6)
    own = replace(kept[3].summary, rest_start_v=(volts, volts - 0.4, volts + 0.4),
                  rest_end_v=(volts - 3.0, volts - 3.4, volts - 2.6))  # fmt: skip
    return [*kept[:3], Kept(kept[3].name, own), *kept[4:]]


def test_a_meter_is_weighed_with_its_own_uncertainty():
    # Inverse-variance weighing (closed form): the log within 0.4 V (95 %), the meter within 0.2 %
    # and its last digit.
    volts = 4.0 * SETUP.pack.series
    rides = rested(volts)
    note = HandNote(
        rides[3].name, rides[3].start.date().isoformat(), "", rest_voltage_v=volts + 0.3
    )
    weighed, told = with_hand_rests(rides, [note], SETUP)
    hand_sd = np.hypot(METER_SD * (volts + 0.3), METER_DIGIT_V)
    log_sd = 0.8 / 3.92
    expected = volts + 0.3 * log_sd**2 / (log_sd**2 + hand_sd**2)
    value, low, high = weighed[3].summary.rest_start_v
    assert value == pytest.approx(expected, abs=1e-6)
    assert (high - low) / 3.92 == pytest.approx((hand_sd**-2 + log_sd**-2) ** -0.5, rel=1e-6)
    assert weighed[3].summary.rest_end_v == rides[3].summary.rest_end_v
    assert weighed[3].summary.charge_start_pct[0] > 0
    assert "0.5 % more than the log" in told[0].text
    assert rides[3].summary.rest_start_v[0] == volts  # arguments stay as they were


def test_a_meter_that_fits_no_ride_is_shown_and_not_used():
    rides = rested(4.0 * SETUP.pack.series)
    day = rides[3].start.date().isoformat()
    kept, told = with_hand_rests(rides, [HandNote(day, day, "", rest_voltage_v=20.0)], SETUP)
    assert kept == rides
    assert "fits the start or end of no ride" in told[0].text


def test_a_charge_log_or_a_counted_charge_tells_capacity():
    # 9.0 Ah from 30 to 90 % each month: 15 Ah (closed form), also in the whole report.
    days = [f"2031-{month:02d}-10" for month in range(1, 9)]
    notes = [HandNote(d, d, "", charged_ah=9.0, from_pct=30, to_pct=90) for d in days]
    result = judge_ageing(charges_by_hand(notes, 20.0), SETUP)
    assert result.capacity.now_ah.low <= 15.0 <= result.capacity.now_ah.high
    assert result.capacity.now_ah.value == pytest.approx(15.0, rel=0.01)
    assert result.resistance is None


@pytest.mark.parametrize(
    ("role", "rate_hz", "same"),
    [("all", 9.7, True), ("all", 10.4, True), ("bms", 10.0, False), ("all", 20.0, False)],
)
def test_the_same_header_in_another_file_or_at_another_pace_is_another_loggers(
    role, rate_hz, same
) -> None:
    result = made_result()

    def origin(role, rate_hz):
        sources = tuple(replace(s, role=role, rate_hz=rate_hz) for s in result.ride.sources)
        return summary_of(replace(result, ride=replace(result.ride, sources=sources))).origin

    assert (origin(role, rate_hz) == origin("all", 10.0)) is same
