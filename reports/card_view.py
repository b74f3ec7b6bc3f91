"""The roadside card: what to look at, in order, before riding on. It prints on one page."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.ride_analysis import RideResult
from reports.numbers import fixed


@dataclass(frozen=True, slots=True)
class Card:
    """At most six checks, each with what to do when it fails."""

    checks: tuple[tuple[str, str], ...]
    stop: str


def roadside_card(result: RideResult) -> Card:
    """Six checks in the order in which they can hurt, with this build's own numbers."""
    return Card(
        checks=(
            (
                "Smell, heat, browned connectors",
                "Power off. Hand near pack, controllers, motors and every connector, not on them: "
                "hot, hissing, swollen or smelling means leave it, keep away, call for help. A "
                "connector that is brown, melted or was hot is not plugged in again: the ride ends "
                "here.",
            ),
            ("Rest voltage by meter", _voltage(result)),
            (
                "Fuse and switch",
                "Look at the fuse. A blown one is never bridged nor replaced by a larger one: what "
                "blew it is still there.",
            ),
            (
                "Belt or chain, wheel nuts",
                "Turn each driven wheel by hand, power off: nothing rubs, slips or is loose.",
            ),
            (
                "Mechanical brake",
                "It alone must hold the loaded vehicle on this slope. If it does not: unload, keep "
                "off slopes, get help.",
            ),
            (
                "First metres",
                "On the flat, at walking pace, at low power, one firm stop. Cuts out again: push.",
            ),
        ),
        stop="Anything not in order, or not understood: do not ride on.",
    )


def _voltage(result: RideResult) -> str:
    setup, rest = result.setup, result.pack.rest_voltage_end_v
    text = "After some minutes at rest measure the pack."
    if rest is not None and rest.low is not None and rest.high is not None:
        text += f" This ride's end should read about {fixed(rest.value, 1)} V."
    stops = [drive.stop_at_v for drive in setup.drives if drive.stop_at_v is not None]
    low = max([*stops, setup.empty_v])
    return f"{text} Near {fixed(low, 1)} V it is empty; far from what it should be, do not ride."
