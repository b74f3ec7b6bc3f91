"""What comes first on the first screen, and what makes no finding."""

from analyzer.balance import Balance, InForce, Share
from analyzer.estimate import Estimate
from analyzer.events import Event, LimitRef, Peak
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


def test_each_cutout_is_a_finding_of_its_own():
    events = [event(EventKind.CUTOUT, Severity.ACT, at) for at in (10, 60)]
    assert len(subjects(events)) == 2


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
