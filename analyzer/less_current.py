"""To what should each drive's battery limit be lowered, and what does that cost on this build?

One answer for every finding of a ride: the loss of power, the span above a rating that led to it,
the sag beside it. Texts come in the order do, "Cost: …".
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np

from analyzer.conditions import Conditions
from analyzer.cost_of_limit import PAPER_HILL, Hill, climb_cost, hill_at
from analyzer.setup_finding import num, pct
from analyzer.setup_sums import allowed_a, bounds, each_a, total
from importers.setup_types import Setup

Way = Literal["drive", "brake"]
USUAL_OHM = 0.1
"""Pack resistance for a cost where the ride does not tell it [ohm]. Our choice."""
NAME = {"drive": "battery limit", "brake": "battery limit when braking"}
FREE = "none but the time."
OVERSHOT = 1.05
"""Beyond this part of what is set the limits are not in force. The contract's."""
BRAKE_COST = "stopping on the motors alone takes longer, and less energy comes back."


def less_current(
    setup: Setup,
    way: Way,
    state: Conditions,
    *,
    seen_a: float | None,
    start_s: float = np.nan,
    end_s: float = np.nan,
    rest_v: float | None = None,
) -> list[str]:
    """What to set each drive's battery limit to, and its cost; empty where the limits as set keep
    a tenth in hand and are in force. `seen_a` is what all drives together drew or pushed back here
    (positive), on the climb that these seconds lie on."""
    overshoot = state.drive_overshoot if way == "drive" else state.brake_overshoot
    each = each_a(setup, way, overshoot)
    if each is None:
        word = "discharge" if way == "drive" else "charge"
        return [
            f"Lower {whose(setup)} {NAME[way]} so that all drives and lights together stay 10 % "
            f"under the lowest rating; write bms.{word}_rating_a into the setup and this becomes "
            "a number.",
            f"Cost: {_unknown_cost(way)}",
        ]
    set_now = [one for d in setup.drives if (one := getattr(d, f"battery_{way}_a")) is not None]
    if set_now and max(set_now) <= each:
        return _in_force(setup, way, max(set_now), seen_a)
    hill = hill_at(state.hills, start_s, end_s)
    cost = _cost(setup, way, state, each, seen_a, hill, rest_v)
    return [
        f"Set {whose(setup)} {NAME[way]} (battery_{way}_a{_now_words(set_now)}) to "
        f"{num(each, 'A')} or less: {in_hand(setup, way, each, overshoot)}",
        f"Cost: {cost}",
    ]


def whose(setup: Setup) -> str:
    """Whose limit it is, inside a sentence."""
    return "each drive's" if len(setup.drives) > 1 else "the drive's"


def in_hand(setup: Setup, way: Way, each: float, overshoot: float = 1.0) -> str:
    """What such limits add up to, and how far that stays under the lowest rating."""
    allowed = allowed_a(setup, way)
    assert allowed is not None
    what, rating = next((b.what, v) for b, v in bounds(setup, way) if b.key == allowed[1])
    assert rating is not None
    count, aux_a = len(setup.drives), (setup.pack.aux_a or 0.0) if way == "drive" else 0.0
    used = count * each + aux_a
    terms = [f"{count} × {num(each, 'A')}" if count > 1 else num(each, "A")]
    if aux_a > 0:
        terms.append(f"{num(aux_a, 'A')} for lights")
    made = f" make {num(used, 'A')}," if count > 1 or aux_a > 0 else " is"
    more = f"; limits were overshot by up to {pct(overshoot - 1)} here" if overshoot > 1.005 else ""
    under = f"{pct(1 - used / rating)} under {what} of {num(rating, 'A')}"
    return f"{' and '.join(terms)}{made} {under}{more}."


def _now_words(set_now: Iterable[float]) -> str:
    values = [num(one, "A") for one in dict.fromkeys(set_now)]
    return f", now {' and '.join(values)}" if values else ""


def _in_force(setup: Setup, way: Way, limit_a: float, seen_a: float | None) -> list[str]:
    """The limits as set would do: are they in force?"""
    summed = total(setup, way)
    if seen_a is None or summed is None or summed.missing or seen_a <= OVERSHOT * summed.value:
        return []
    each = " a drive" if len(setup.drives) > 1 else ""
    return [
        f"The {NAME[way]} of {num(limit_a, 'A')}{each} already keeps 10 % under every rating that "
        f"is given, yet {num(round(seen_a, 1), 'A')} was seen: read the limits back from the "
        "controllers.",
        f"Cost: {FREE}",
    ]


def _cost(
    setup: Setup,
    way: Way,
    state: Conditions,
    each: float,
    seen_a: float | None,
    hill: Hill,
    rest_v: float | None,
) -> str:
    if way == "brake":
        return BRAKE_COST
    summed = total(setup, way)
    set_a = None if summed is None or summed.missing else summed.value - summed.aux_a
    known = [one for one in (set_a, seen_a) if one is not None]
    new_a = each * len(setup.drives)
    if not known:
        return _unknown_cost(way)
    cost = climb_cost(
        setup,
        min(known),
        new_a,
        USUAL_OHM if state.resistance_ohm is None else state.resistance_ohm,
        hill if hill.grade_pct > 0 else PAPER_HILL,
        pack_rest_v=rest_v,
        mass_kg=state.mass_kg,
    )
    return cost or _unknown_cost(way)


def _unknown_cost(way: Way) -> str:
    if way == "brake":
        return BRAKE_COST
    return "less power where this limit governs; climbs take longer, the pull from rest stays."
