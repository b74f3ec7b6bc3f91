"""Every kind of page, made of text that would break it if it were not text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

from made.predictions import made_prediction
from made.ride_results import bare_result, made_result, made_setup
from setup_maker import TRIKE, setup_of

from analyzer.ageing import DayNote, judge_ageing
from analyzer.compare import compare_rides
from analyzer.estimate import Estimate, Note
from analyzer.limits_merge import merge_limits
from analyzer.predict import LimitAhead, PredictResult
from analyzer.ride_analysis import RideResult
from analyzer.setup_check import check_setup
from importers.ride import ChannelReading
from reports.page import (
    ageing_page,
    compare_page,
    limits_page,
    predict_page,
    ride_page,
    setup_page,
)

SCRIPT = '"><script>window.hostile = 1</script>'
IMAGE = '"><img src=x onerror="window.hostile=1">'
DRIVES = ('left"><script>hostile()</script>', "right<b>&amp;</b>")
"""A setup takes any name without a dot or an equals sign."""


def hostile_result() -> RideResult:
    """A ride whose vehicle, drives, hill, files, columns and status codes are markup."""
    full = made_result(DRIVES)
    source = full.ride.sources[0]
    readings = (ChannelReading(SCRIPT, None, "", 1, None, 0.0),)
    readings += (ChannelReading(IMAGE, "status", IMAGE, 1, None, 0.9),)
    source = replace(
        source,
        file=f"logs/{IMAGE}.csv",
        channels=(*source.channels, *readings),
        problems=(f"'{IMAGE}' is read as status.",),
    )
    cutout = full.events[2]
    code = replace(cutout.causes[0], evidence=(f"The code {SCRIPT} appeared first on left.",))
    events = (*full.events[:2], replace(cutout, causes=(code, *cutout.causes[1:])))
    return replace(
        full,
        ride=replace(full.ride, sources=(source,), facts=replace(full.ride.facts, note=IMAGE)),
        setup=named(full.setup),
        events=(*events, *full.events[3:]),
        climbs=tuple(replace(one, hill=f"Hill {SCRIPT}") for one in full.climbs),
    )


def named(setup):
    """The setup with a vehicle and a file whose names are markup."""
    vehicle = replace(setup.vehicle, name=SCRIPT)
    return replace(setup, vehicle=vehicle, file=f"builds/{IMAGE}.toml")


def limits() -> str:
    rides = [(f"{name}{IMAGE}", hostile_result()) for name in ("one", "two")]
    return limits_page(merge_limits(rides), rides)


def compared() -> str:
    before = hostile_result()
    drives = tuple(replace(one, battery_drive_a=17.0) for one in before.setup.drives)
    after = replace(before, setup=replace(before.setup, drives=drives))
    return compare_page(compare_rides(before, after), f"before {SCRIPT}", f"after {IMAGE}")


def predicted() -> str:
    return predict_page(prediction())


def prediction() -> PredictResult:
    """A hill whose build has hostile names."""
    key = f"drives.{DRIVES[0]}.battery_drive_a"
    return made_prediction(
        setup=named(made_setup(DRIVES)),
        limits=(
            LimitAhead(key, 28.0, "A", Estimate(27.9, 27.5, 28.3), 99.0),
            LimitAhead("bms.discharge_rating_a", 40.0, "A", Estimate(36.0, 33.0, 39.0), 12.0),
        ),
        power_first_reduced_at_m=Estimate(310.0, 250.0, 420.0),
        chance_reduced_pct=40.0,
        chance_top_pct=90.0,
        notes=(Note("predict", SCRIPT),),
    )


def checked() -> str:
    setup = named(setup_of(TRIKE.replace("battery_drive_a = 17.5", "battery_drive_a = 28.0")))
    drives = tuple(replace(one, name=name) for one, name in zip(setup.drives, DRIVES, strict=True))
    drives = tuple(replace(one, same_as=None) for one in drives)
    setup = replace(setup, drives=drives)
    return setup_page(check_setup(setup), setup)


def aged() -> str:
    from simulator.books import make_book

    kept, truth = make_book(3, rides=60, months=12, growth_pct_per_year=7.0, jump_pct=8.0)
    note = DayNote(kept[truth.jump_at].start - timedelta(days=2), f"{SCRIPT} taken out")
    return ageing_page(judge_ageing(kept, setup_of(), notes=[note]))


PAGES: dict[str, Callable[[], str]] = {
    "ride": lambda: ride_page(hostile_result()),
    "bare": lambda: ride_page(bare_result()),
    "limits": limits,
    "compare": compared,
    "predict": predicted,
    "setup": checked,
    "ageing": aged,
}
