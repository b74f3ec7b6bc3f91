"""What to do about a limit that was reached or is not held, what that costs, the caution.

Texts come in the order do, "Cost: …", "Caution: …"; empty where nothing needs doing.
"""

from __future__ import annotations

from analyzer.cost_of_limit import climb_cost
from analyzer.less_current import BRAKE_COST, FREE, NAME, USUAL_OHM, Way, in_hand, whose
from analyzer.limits import LimitCheck
from analyzer.setup_finding import floor_a, num
from analyzer.setup_sums import each_a
from analyzer.words import Verdict
from importers.setup_types import Setup

BRAKE_CAUTION = (
    "Caution: stopping distance grows; the mechanical brake must hold the loaded vehicle on this "
    "grade alone. Try it at walking pace first."
)
GUARDS = "Caution: fuse and BMS guard the pack: neither is bridged or raised."


def limit_remedy(check: LimitCheck, setup: Setup, resistance_ohm: float | None) -> tuple[str, ...]:
    """What to do about one limit of the setup after this ride."""
    name = check.limit.rsplit(".", 1)[-1]
    if check.verdict is Verdict.OVERSHOOTS and check.unit == "A":
        return _overshoots(check, name)
    if check.verdict not in (Verdict.EXCEEDED, Verdict.TOUCHED):
        return ()
    if name in ("motor_derate_c", "motor_stop_c", "controller_derate_c", "controller_stop_c"):
        return (
            "Let it cool; climb with less motor current or in shorter pieces.",
            "Cost: the climb takes longer.",
            "Caution: a temperature stop is never raised, and what is hot is not touched.",
        )
    if name in ("stop_at_v", "cell_low_v", "cell_empty_v"):
        return (
            "Turn back with more charge left, or climb with less current when it is low.",
            "Cost: slower at low charge; a little charge stays unused.",
            "Caution: the stop voltage guards the cells and stays where it is.",
        )
    if name == "min_charge_temp_c":
        return (
            "Brake with the mechanical brake until the pack is warmer.",
            "Cost: less energy comes back.",
            "Caution: charging below its lowest temperature, braking included, damages cells.",
        )
    if check.unit != "A":
        return ()
    return _less(setup, "brake" if name.startswith("charge") else "drive", resistance_ohm)


def _overshoots(check: LimitCheck, name: str) -> tuple[str, ...]:
    lower = floor_a(check.set * check.set / check.seen) if check.seen else check.set
    do = (
        "Read the setting back from the controller and check its current reading; if both are "
        f"right, set it to {num(lower, 'A')}, lower by what it overshoots."
    )
    if name.endswith("brake_a"):
        return (do, f"Cost: {BRAKE_COST}", BRAKE_CAUTION)
    return (do, f"Cost: {FREE}", "Caution: sums of limits on paper are too low until it is right.")


def _less(setup: Setup, way: Way, resistance_ohm: float | None) -> tuple[str, ...]:
    each = each_a(setup, way)
    now = [one for d in setup.drives if (one := getattr(d, f"battery_{way}_a")) is not None]
    if each is None or (now and max(now) <= each):
        return ()
    do = f"Set {whose(setup)} {NAME[way]} to {num(each, 'A')} or less: {in_hand(setup, way, each)}"
    if way == "brake":
        return (do, f"Cost: {BRAKE_COST}", BRAKE_CAUTION)
    ohm = USUAL_OHM if resistance_ohm is None else resistance_ohm
    count = len(setup.drives)
    cost = climb_cost(setup, count * max(now), count * each, ohm) if now else ""
    return (do, f"Cost: {cost or 'less power where this limit governs.'}", GUARDS)
