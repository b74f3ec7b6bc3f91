"""Logged facts that physics ties to a cause. The trade's; no source."""

from __future__ import annotations

from collections.abc import Mapping

Fact = Mapping[str, str]
"""Sign -> levels, blank between them, `-` where it was not told; all of its signs must be at one
of their levels."""

TRIP_USED: Fact = {"discharge_trip": "used half"}
CHARGE_TRIP_USED: Fact = {"charge_trip": "used half"}
LOW_CELL: Fact = {"cell_low": "at"}
LOW_MEAN: Fact = {"cell_low": "mean_at mean_near", "charge": "low"}
WRITTEN = "gone no_demand dead frozen"
"""A loss whose rows were written: what tripped something at a hole may have gone with the last
block of the log."""
NO_LOW_CELL: tuple[Fact, ...] = (
    {"cell_low": "clear mean_clear", "how": f"- {WRITTEN}"},
    {"charge": "middle full"},
)
LOWISH_MEAN: Fact = {"cell_low": "mean_at mean_near", "charge": "low lowish"}
AT_THEIR_STOP: Fact = {"overvoltage_v": "at", "bus": "rebound"}
HIGH_CELL: Fact = {"cell_high": "at"}
HIGH_MEAN: Fact = {"cell_high": "mean_at", "charge": "full"}
NO_HIGH_CELL: Fact = {"cell_high": "clear mean_clear"}
HOT_BMS: Fact = {"heat_load": "hot warm", "away": "minute minutes"}
COOL_BMS: tuple[Fact, ...] = (
    {"heat_load": "cool", "away": "- instant seconds tens"},
    {"away": "instant seconds"},
)
FLICKERS: Fact = {"flicker": "yes"}
DIPS: Fact = {"dip": "yes"}
CONTACT: tuple[Fact, ...] = (FLICKERS, {"return": "blink soon"})
NO_TRIP: tuple[Fact, ...] = ({"discharge_trip": "clear begun"}, {"discharge_load": "light below"})
NO_CHARGE_TRIP: tuple[Fact, ...] = ({"charge_trip": "clear begun"}, {"charge_load": "light below"})
COLLAPSES: Fact = {"bus": "collapse"}
OPENED: Fact = {"bus": "collapse dead"}
STAYED: Fact = {"bus": "rebound"}
SPIKE: Fact = {"phase": "spike"}
RUNNING: Fact = {"speed": "riding"}
JERKS: tuple[Fact, ...] = (
    {"jitter": "yes"},
    {"jitter": "some", "phase": "- below half light spike"},
    {"speed": "still slow", "phase": "below light", "beats": "yes some", "jitter": "- yes some"},
)
COMES_BACK = "blink soon later after_rest tries"
SMOOTH: Fact = {"phase": "full", "jitter": "- no", "beats": "- no", "return": COMES_BACK}
ROLLS_WELL: Fact = {"speed": "still slow", "rolling": "runs"}
ROLLS_NOT: Fact = {"rolling": "fails"}
BEATING: tuple[Fact, ...] = (
    {"tries": "weak_short", "speed": "jog riding"},
    {"tries": "weak_short weak_long", "rolling": "fails"},
    {"beats": "yes some", "return": "never", "speed": "jog riding"},
)
CONTROLLED: Fact = {
    "fall": "ramp",
    "speed": "jog riding",
    "beats": "- no",
    "return": "blink soon later after_rest",
}
BOTH_SIDES: Fact = {"who": "all"}
ONE_SIDE: Fact = {"who": "one"}
OVER_LINK: tuple[Fact, ...] = (
    {"frozen": "yes"},
    {"demand": "frozen", "sides": "- parted"},
    {"sides": "parted"},
    {"link": "follower", "phase": "below half light", "return": "soon later never after_rest"},
)
NOT_OVER_LINK: tuple[Fact, ...] = ({"link": "leader"}, {"link": "untold", "frozen": "no"})
SIGNAL_GONE: tuple[Fact, ...] = (
    {"demand": "jump"},
    {"sides": "parted"},
    {"demand_still": "stuck"},
    {"demand_leaves": "jump", "alive": "- no"},
)
SIGNAL_ALIVE: tuple[Fact, ...] = ({"sides": "together"}, {"alive": "yes"}, {"return": "tries"})
