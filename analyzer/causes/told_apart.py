"""Which of two causes was decided, pair by pair, and what to say where neither was.

A likelihood may lean to one side by habit; only a fact that physics ties to one of the two decides.
Where none was seen the answer is a split. The trade's; no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analyzer.causes.facts import Fact
from analyzer.causes.pairs import PAIRS
from analyzer.words import CutoutCause as C

TWINS = frozenset({(C.ROTOR_SENSOR_FAULT, C.PHASE_OVERCURRENT)})
"""(first, rival) that only a decisive fact parts, however unlikely habit makes the rival: a motor
that stops when slow, again and again, without a jerk or a spike in the log may have either. Our
choice: the only pair that was said surely and wrong in a row on made rides."""

HEAT = {
    C.CONTROLLER_OVERHEAT: "controller_heat",
    C.MOTOR_OVERHEAT: "motor_heat",
}
"""A part at its stop temperature speaks for its heat against all that happens on one side."""


def _seen(facts: tuple[Fact, ...], signs: Mapping[str, str]) -> bool:
    return any(all(signs.get(k, "-") in v.split() for k, v in fact.items()) for fact in facts)


def decided(losses: Sequence[Mapping[str, str]]) -> list[tuple[C, C]]:
    """(cause, rival) wherever a fact that physics ties to the cause, and none that it ties to the
    rival, was seen in these `losses` of the same drives."""
    out = []
    for pair in PAIRS:
        one = any(_seen(pair.for_one, signs) for signs in losses)
        other = any(_seen(pair.for_other, signs) for signs in losses)
        if one and not other:
            out.append((pair.one, pair.other))
        if other and not one:
            out.append((pair.other, pair.one))
    return out


def told_apart(
    first: C, second: C, signs: Mapping[str, str], beside: Sequence[Mapping[str, str]] = ()
) -> tuple[bool, str]:
    """Whether a fact that physics ties to `first`, and none that it ties to `second`, was seen in
    this loss or in those `beside` it; and what would tell them. Pairs that nothing is stated for
    count as told apart."""
    for heat, sign in HEAT.items():
        if heat is second and signs.get(sign) == "at" and first not in HEAT:
            wire = first is C.TEMPERATURE_SENSOR_FAULT and signs.get("temp_wire") == "broken"
            return wire, "that part's temperature beside a thermometer"
    for pair in PAIRS:
        if {first, second} == {pair.one, pair.other}:
            mine, its = pair.for_one, pair.for_other
            if first is pair.other:
                mine, its = its, mine
            all_seen = (signs, *beside)
            found = any(_seen(mine, one) for one in all_seen)
            return found and not any(_seen(its, one) for one in all_seen), pair.ask
    return True, ""
