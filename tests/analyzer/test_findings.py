"""What comes first on the first screen, and what makes no finding."""

from analyzer.balance import Balance, InForce, Share
from analyzer.estimate import Estimate
from analyzer.events import Cause, Event, LimitRef, Peak
from analyzer.findings import rank_findings
from analyzer.limits import LimitCheck, Tried
from analyzer.words import BalanceVerdict, EventKind, LimitRole, Severity, Verdict

BOTH = ("left", "right")


def event(kind, severity, start_s=10.0, flavour="", peak=None, limit=None, drives=BOTH):
    return Event(
        kind, start_s, start_s + 2, drives, severity, flavour=flavour,
        peak=None if peak is None else Peak("pack_current_a", peak),
        limit=None if limit is None else LimitRef(*limit),
    )  # fmt: skip


def limit(name, role, verdict, used_pct=None, seen_10s=None, set_a=50.0):
    return LimitCheck(
        name, role, set_a, "A", (used_pct or 0) * set_a / 100, 1.0, seen_10s, None, verdict,
        used_pct, Tried(None, None, None, 0),
    )  # fmt: skip


def subjects(events=(), limits=(), balance=None, in_force=()):
    return [
        (one.subject, one.severity.value)
        for one in rank_findings(events, limits, balance, in_force)
    ]


def test_loss_of_braking_first_then_severity_then_danger():
    events = [
        event(EventKind.SAG, Severity.WATCH, flavour="too_much_current"),
        event(EventKind.DISCHARGE_OVER_RATING, Severity.ACT),
        event(EventKind.CUTOUT, Severity.ACT),
        event(EventKind.BRAKE_LOSS, Severity.ACT),
        event(EventKind.OVERHEAT, Severity.WATCH),
    ]
    assert [one for one, _ in subjects(events)] == [
        "brake_loss",
        "cutout",
        "discharge_over_rating",
        "overheat",
        "sag",
    ]


def test_spans_of_one_kind_are_one_finding_the_worst_telling():
    events = [
        event(EventKind.REGEN_OVER_RATING, Severity.NOTE, 10, peak=-13, limit=("x", 12.0)),
        event(EventKind.REGEN_OVER_RATING, Severity.ACT, 20, peak=-14, limit=("x", 12.0)),
        event(EventKind.REGEN_OVER_RATING, Severity.NOTE, 30, peak=-15, limit=("x", 12.0)),
    ]
    (found,) = rank_findings(events, (), None)
    assert found.severity is Severity.ACT
    assert found.events == (1, 2, 0)


def loss(kind, cause, start_s, probability=0.9, drives=BOTH):
    rest = Cause("unknown", 1 - probability)
    return Event(
        kind, start_s, start_s + 9, drives, Severity.ACT, causes=(Cause(cause, probability), rest)
    )


def told(events):
    """(subject, places) of each finding."""
    return [(one.subject, one.events) for one in rank_findings(events, (), None)]


def test_cutouts_without_a_likely_cause_are_findings_of_their_own():
    events = [event(EventKind.CUTOUT, Severity.ACT, at) for at in (10, 60)]
    assert len(subjects(events)) == 2
    unsure = [loss(EventKind.CUTOUT, "supply_interrupted", at, 0.4) for at in (10, 60)]
    assert len(subjects(unsure)) == 2


def test_losses_of_one_cause_are_one_story_told_by_the_first():
    trip = "bms_overcurrent_charge"
    events = [loss(EventKind.BRAKE_LOSS, trip, at) for at in (60, 10, 90)]
    assert told(events) == [("brake_loss", (1, 0, 2))]
    other = loss(EventKind.BRAKE_LOSS, "cell_high_voltage", 30)
    assert len(told([*events, other])) == 2


def test_a_fault_in_one_drive_is_one_story_a_drive():
    events = [
        loss(EventKind.CUTOUT, "rotor_sensor_fault", at, drives=(side,))
        for at, side in ((10, "left"), (30, "right"), (60, "left"))
    ]
    assert told(events) == [("cutout", (0, 2)), ("cutout", (1,))]


def test_the_current_that_led_to_a_loss_is_part_of_its_story():
    rating, trip = ("bms.discharge_rating_a", 40.0), ("bms.discharge_trip_a", 51.0)
    over = event(EventKind.DISCHARGE_OVER_RATING, Severity.ACT, 58, peak=52.0, limit=rating)
    near = event(EventKind.NEAR_TRIP, Severity.WATCH, 200, flavour="delay", limit=trip)
    gone = loss(EventKind.CUTOUT, "bms_overcurrent_discharge", 60)
    assert told([over, gone, near]) == [("cutout", (1, 0, 2))]
    # Another cause leaves it a finding of its own; without a loss the rating tells of the trip.
    link = loss(EventKind.CUTOUT, "drive_link_lost", 60)
    assert told([over, link, near]) == [("cutout", (1,)), ("discharge_over_rating", (0, 2))]


def test_braking_above_the_rating_tells_of_the_voltage_only_while_it_lasts():
    rating, full = ("pack.charge_rating_a", 9.0), ("pack.cell_full_v", 58.8)
    brake = event(EventKind.REGEN_OVER_RATING, Severity.ACT, 10, peak=-14, limit=rating)
    during = event(EventKind.OVERVOLTAGE, Severity.WATCH, 11, limit=full)
    apart = event(EventKind.OVERVOLTAGE, Severity.WATCH, 300, limit=full)
    assert told([brake, during]) == [("regen_over_rating", (0, 1))]
    assert [one for one, _ in told([brake, apart])] == ["regen_over_rating", "overvoltage"]


def test_heat_of_another_drive_is_not_this_one_s_story():
    stop = ("drives.left.motor_stop_c", 120.0)
    gone = loss(EventKind.CUTOUT, "motor_overheat", 60, drives=("left",))
    for side, count in (("left", 1), ("right", 2)):
        limit = (stop[0].replace("left", side), stop[1])
        hot = event(EventKind.OVERHEAT, Severity.ACT, 50, limit=limit, drives=(side,))
        assert len(told([gone, hot])) == count


def test_a_side_with_a_setting_not_in_force_is_told_once():
    shares = tuple(Share(d, None, None) for d in BOTH)
    rows = [
        limit(f"drives.{d}.phase_drive_a", LimitRole.LIMITER, Verdict.WORKS, 100, set_a=58.0)
        for d in BOTH
    ]
    plateaus = tuple(
        InForce(d, None, Estimate(amps, amps - 0.6, amps + 0.6), None, None)
        for d, amps in (("left", 58.0), ("right", 50.0))
    )
    for cause, expected in (("setting_not_in_force", 1), ("drag_one_side", 2)):
        balance = Balance(
            shares, None, BalanceVerdict.UNEVEN, Severity.NOTE, (Cause(cause, 0.8),), 100.0
        )
        found = rank_findings((), rows, balance, plateaus)
        assert len([x for x in found if x.subject in ("balance", "setting")]) == expected


def test_ordinary_riding_makes_no_finding():
    assert subjects([event(EventKind.LOG_GAP, Severity.NOTE)]) == []
    assert subjects([event(EventKind.STALL, Severity.NOTE)]) == []
    assert subjects([event(EventKind.WHEEL_SLIP, Severity.NOTE)]) == []
    assert subjects([event(EventKind.STALL, Severity.WATCH)]) == [("stall", "watch")]


def test_limits_that_no_event_tells_of():
    rating, trip, limiter = LimitRole.RATING, LimitRole.TRIP, LimitRole.LIMITER
    cases = [
        (limit("wiring.fuse_a", rating, Verdict.EXCEEDED, 108, seen_10s=53.0), "act"),
        (limit("wiring.fuse_a", rating, Verdict.EXCEEDED, 108, seen_10s=40.0), "watch"),
        (limit("bms.discharge_trip_a", trip, Verdict.EXCEEDED, 103), "act"),
        (limit("wiring.fuse_a", rating, Verdict.TOUCHED, 97), "watch"),
        (limit("drives.left.battery_drive_a", limiter, Verdict.OVERSHOOTS, 112), "watch"),
        (limit("drives.left.battery_drive_a", limiter, Verdict.OVERSHOOTS, 107), None),
    ]
    for row, severity in cases:
        expected = [] if severity is None else [("limit", severity)]
        assert subjects(limits=[row]) == expected, row


def test_a_limit_an_event_tells_of_is_not_told_twice():
    row = limit("bms.discharge_rating_a", LimitRole.RATING, Verdict.EXCEEDED, 120)
    events = [event(EventKind.DISCHARGE_OVER_RATING, Severity.WATCH)]
    assert subjects(events, [row]) == [("discharge_over_rating", "watch")]


def test_good_news_and_what_was_not_tried_come_last():
    rows = [
        limit("drives.left.battery_drive_a", LimitRole.LIMITER, Verdict.WORKS, 99),
        limit("bms.discharge_rating_a", LimitRole.RATING, Verdict.HOLDS, 80),
        limit("bms.charge_rating_a", LimitRole.RATING, Verdict.NOT_EXERCISED, 30),
    ]
    found = rank_findings([event(EventKind.SAG, Severity.NOTE, flavour="empty")], rows, None)
    assert [one.subject for one in found] == ["sag", "good", "not_tried"]
    assert found[1].limits == ("drives.left.battery_drive_a", "bms.discharge_rating_a")
    assert found[2].limits == ("bms.charge_rating_a",)


def plateau(drive, amps):
    return InForce(drive, Estimate(amps, amps - 0.6, amps + 0.6), None, None, None)


def test_a_side_saturating_below_its_setting():
    rows = [
        limit(f"drives.{d}.battery_drive_a", LimitRole.LIMITER, Verdict.WORKS, 100, set_a=22.0)
        for d in BOTH
    ]
    one_low = rank_findings((), rows, None, (plateau("left", 22.0), plateau("right", 18.0)))
    assert (one_low[0].subject, one_low[0].severity) == ("setting", Severity.WATCH)
    assert one_low[0].limits == ("drives.right.battery_drive_a",)
    # Two plateaus shared by all drives are power modes, not a fault.
    shared = rank_findings((), rows, None, (plateau("left", 18.0), plateau("right", 18.0)))
    assert "setting" not in {one.subject for one in shared}
    near = rank_findings((), rows, None, (plateau("left", 22.0), plateau("right", 21.5)))
    assert "setting" not in {one.subject for one in near}


def test_an_uneven_balance_is_a_finding_an_even_one_is_not():
    shares = tuple(Share(d, None, None) for d in BOTH)
    uneven = Balance(shares, None, BalanceVerdict.UNEVEN, Severity.WATCH, (), 100.0)
    even = Balance(shares, None, BalanceVerdict.EVEN, None, (), 100.0)
    assert subjects(balance=uneven) == [("balance", "watch")]
    assert subjects(balance=even) == []
