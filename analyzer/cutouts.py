"""Why did it cut out? Every loss of drive or of motor braking, its likely causes, what to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analyzer.balance import InForce
from analyzer.causes.codes import code_odds, code_sentences
from analyzer.causes.combine import MODELS, Seen, together
from analyzer.causes.told_apart import told_apart
from analyzer.causes.words_of import NAMES
from analyzer.conditions import Conditions
from analyzer.cutout_remedies import remedy_of
from analyzer.estimate import Note
from analyzer.events import Cause, Event, LimitRef, Peak
from analyzer.loss_facts import Around, Facts, around
from analyzer.loss_facts_course import course_signs
from analyzer.loss_facts_drive import drive_signs
from analyzer.loss_facts_power import power_signs
from analyzer.loss_search import Loss, search_losses
from analyzer.loss_usual import ASKED
from analyzer.pack_state import PackFit, PackState
from analyzer.quantities import Floats
from analyzer.words import CutoutCause, EventKind, Severity
from importers.ride import Ride
from importers.setup_types import Setup

MOST_NAMED = 3
"""Other losses named in a sentence. Our choice."""
MOSTLY_OFF = 0.5
"""A hand off for this part of the time has let go. Our choice."""
LET_GO_S = 1.0
"""Current that comes back by so much later than it was missed needs a word [s]. Our choice."""
SHOWN = 0.01
"""Causes less likely than this are counted into `unknown`. Our choice."""
MEASURES = (
    "gone_s", "back_after_s", "spells", "faded_s", "fall_s", "apart_s", "idle_s", "dips",
    "path_back_s", "speed_mps", "voltage_before_v", "charge_pct", "heating_current_a",
    "discharge_trip_s", "charge_trip_s", "dip_v", "dip_unexplained_v",
)  # fmt: skip
"""Numbers of a loss that pages draw beside its sentences."""
FULL_SENTENCES = 0.02
"""Causes less likely than this come without evidence. Our choice."""


def find_losses(
    ride: Ride,
    setup: Setup,
    *,
    pack: PackState,
    fit: PackFit | None,
    state: Conditions,
    in_force: Sequence[InForce] = (),
) -> tuple[list[Event], tuple[Note, ...]]:
    """When was drive or motor braking lost, why, and what should be changed? In time order.

    Not losses: the rider letting go, stopping, top speed, a hole in the log while the ride went on.
    """
    examined = examine_losses(ride, setup, state)
    series: dict[tuple[int, frozenset[str]], list[int]] = {}
    for at, (loss, _, _) in enumerate(examined):
        series.setdefault((loss.sign, frozenset(loss.drives)), []).append(at)
    events: dict[int, Event] = {}
    for same in series.values():
        seen = [Seen(examined[at][2].signs, code_odds(examined[at][1])) for at in same]
        for at, chances in zip(same, together(seen, setup), strict=True):
            beside = [examined[i] for i in same if i != at]
            events[at] = _event(*examined[at], chances, beside)
    return [events[at] for at in range(len(examined))], _notes(ride, setup)


def examine_losses(ride: Ride, setup: Setup, state: Conditions) -> list[tuple[Loss, Around, Facts]]:
    """Each loss with all that was to be seen around it."""
    losses, search = search_losses(ride, setup)
    out = []
    for loss in losses:
        here, facts = around(loss, search, state), Facts()
        drive_signs(here, facts)
        power_signs(here, facts)
        course_signs(here, facts)
        out.append((loss, here, facts))
    return out


def _notes(ride: Ride, setup: Setup) -> tuple[Note, ...]:
    blind = [
        name
        for name in ride.drives
        if not (ride.has(f"{name}.throttle_pct") or ride.has("throttle_pct"))
    ]
    if not blind:
        return ()
    return (
        Note(
            "events",
            f"No throttle demand was logged for {' and '.join(blind)}: a current that simply ends "
            "cannot be told from a rider letting go. Losses are named only where something else "
            "witnessed them; log the demand.",
        ),
    )


def _event(
    loss: Loss,
    here: Around,
    facts: Facts,
    chances: dict[CutoutCause, float],
    beside: Sequence[tuple[Loss, Around, Facts]],
) -> Event:
    """`beside` are the ride's other losses of the same drives, which were judged with it."""
    time_s = here.time_s
    causes = _causes(here, facts, chances, [other.signs for _, _, other in beside])
    back = loss.back
    end_s = float(time_s[-1] if back is None else time_s[back])
    peak, limit = _peak(causes[0].cause, here, facts)
    kind = EventKind.CUTOUT if loss.sign > 0 else EventKind.BRAKE_LOSS
    return Event(
        kind,
        float(time_s[loss.begin]),
        end_s,
        loss.drives,
        _severity(kind, here, facts),
        peak,
        limit,
        causes=causes,
        facts=(*_facts(here, facts), *_judged_with(beside, time_s)),
        flavour="faded" if loss.faded else "sudden",
        measures=_measures(here, facts),
    )


def _severity(kind: EventKind, here: Around, facts: Facts) -> Severity:
    """Braking always calls for action, drive where it was lost while moving; without a logged
    demand nobody can say that it was asked for."""
    if kind is EventKind.BRAKE_LOSS:
        return Severity.ACT
    if here.part.how == "off":
        return Severity.NOTE
    if here.one.demand is None and facts.signs.get("bus") not in ("collapse", "dead"):
        return Severity.WATCH
    return Severity.ACT


def _measures(here: Around, facts: Facts) -> tuple[tuple[str, float], ...]:
    return tuple((name, facts.numbers[name]) for name in MEASURES if name in facts.numbers)


def _facts(here: Around, facts: Facts) -> list[str]:
    order = here.search.setup.drive_names
    *most, last = sorted(here.loss.drives, key=order.index)
    sides = f"{', '.join(most)} and {last}" if most else last
    what = "Drive" if here.loss.sign > 0 else "Motor braking"
    asked = "was gone" if here.one.demand is None else "was asked for and gone"
    out = [f"{what} {asked} on {sides} for {facts.numbers.get('gone_s', 0.0):.1f} s."]
    out += _let_go(here, facts)
    spells = facts.numbers.get("spells", 1.0)
    if spells > 1:
        out.append(f"It came and went {spells:.0f} times.")
    return out


def _judged_with(beside: Sequence[tuple[Loss, Around, Facts]], time_s: Floats) -> tuple[str, ...]:
    """Which other losses the causes lean on."""
    if not beside:
        return ()
    when = ", ".join(f"{time_s[loss.begin]:.1f} s" for loss, _, _ in beside[:MOST_NAMED])
    more = f" and {len(beside) - MOST_NAMED} more" if len(beside) > MOST_NAMED else ""
    one = "loss" if len(beside) == 1 else "losses"
    said = f"Judged together with the same drives' {one} at {when}{more}"
    return (f"{said}: one cause is likelier than two.",)


def _let_go(here: Around, facts: Facts) -> list[str]:
    """Why current comes back later than it was missed: nobody asked for it in between."""
    away, gone, demand = facts.at("back_after_s"), facts.at("gone_s"), here.one.demand
    if away is None or gone is None or demand is None or away < gone + LET_GO_S:
        return []
    rows = slice(here.loss.last + 1, here.loss.back)
    if demand[rows].size == 0 or np.mean(np.abs(demand[rows]) < ASKED) < MOSTLY_OFF:
        return []
    return [
        f"Then the rider let go; it came again when it was next asked for, {away:.1f} s after it "
        "had gone. Whether it would have come sooner nobody tried."
    ]


def _peak(cause: str, here: Around, facts: Facts) -> tuple[Peak | None, LimitRef | None]:
    """The number and the limit that the likeliest cause is about."""
    bms, name = here.search.setup.bms, here.part.drive
    drive = here.search.setup.drive(name)
    current = facts.at("peak_5s_a")
    by_current = {
        "bms_overcurrent_discharge": "discharge",
        "bms_overheat": "discharge",
        "bms_overcurrent_charge": "charge",
    }
    if cause in by_current and current is not None:
        word = by_current[cause]
        keys = (f"{word}_trip_a", f"{word}_rating_a")
        key = next((k for k in keys if getattr(bms, k) is not None), None)
        limit = None if key is None else LimitRef(f"bms.{key}", getattr(bms, key))
        return Peak("pack_current_a", current), limit
    own = {
        "undervoltage_stop": ("stop_at_v", "to_stop_at_v", 1.0, "battery_voltage_v"),
        "overvoltage_trip": ("overvoltage_v", "to_overvoltage_v", -1.0, "battery_voltage_v"),
    }
    if cause in own:
        key, margin, sign, channel = own[cause]
        line, off = getattr(drive, key), facts.at(margin)
        if line is not None and off is not None:
            where = f"{name}.{channel}" if here.one.voltage_v is not None else "pack_voltage_v"
            return Peak(where, line + sign * off), LimitRef(f"drives.{name}.{key}", line)
    for part in ("controller", "motor"):
        line, seen = getattr(drive, f"{part}_stop_c"), facts.at(f"{part}_c")
        if cause == f"{part}_overheat" and line is not None and seen is not None:
            key = f"drives.{name}.{part}_stop_c"
            return Peak(f"{name}.{part}_temp_c", seen), LimitRef(key, line)
    for word in ("low", "high"):
        line, seen = getattr(bms, f"cell_{word}_v"), facts.at(f"cell_{word}_seen_v")
        if cause == f"cell_{word}_voltage" and line is not None and seen is not None:
            edge = "min" if word == "low" else "max"
            return Peak(f"cell_{edge}_v", seen), LimitRef(f"bms.cell_{word}_v", line)
    return (None if current is None else Peak("pack_current_a", current)), None


def _causes(
    here: Around,
    facts: Facts,
    chances: dict[CutoutCause, float],
    beside: Sequence[Mapping[str, str]],
) -> tuple[Cause, ...]:
    small = sum(p for c, p in chances.items() if p < SHOWN and c is not CutoutCause.UNKNOWN)
    chances = {c: p for c, p in chances.items() if p >= SHOWN or c is CutoutCause.UNKNOWN}
    chances[CutoutCause.UNKNOWN] = chances.get(CutoutCause.UNKNOWN, 0.0) + small
    order = sorted(chances, key=lambda c: (-chances[c], c.value))
    models = {one.cause: one for one in MODELS}
    said, undecided = code_sentences(here), _undecided(facts.signs, chances, beside)
    out = []
    for place, cause in enumerate(order):
        model, p = models[cause], chances[cause]
        full = p >= FULL_SENTENCES or place == 0
        out.append(
            Cause(
                cause.value,
                p,
                evidence=tuple([*model.evidence(here, facts), *(said if place == 0 else [])])
                if full
                else (),
                would_confirm=(*(undecided if place == 0 else ()), *model.confirm) if full else (),
                remedy=remedy_of(cause, here, facts) if full else (),
                consequences=_consequences(cause, here, facts),
            )
        )
    return _sum_to_one(out)


def _undecided(
    signs: Mapping[str, str],
    chances: dict[CutoutCause, float],
    beside: Sequence[Mapping[str, str]],
) -> tuple[str, ...]:
    """For each rival that nothing seen tells from the likeliest: what would."""
    first = max(chances, key=lambda cause: chances[cause])
    out: dict[str, list[str]] = {}
    for cause, p in chances.items():
        told, ask = told_apart(first, cause, signs, beside)
        if cause is not first and p >= FULL_SENTENCES and not told:
            out.setdefault(ask, []).append(NAMES.get(cause, cause.value.replace("_", " ")))
    return tuple(
        f"Nothing in this log tells it from {' or '.join(names)}; it would be told by: {ask}."
        for ask, names in out.items()
    )


def _sum_to_one(causes: list[Cause]) -> tuple[Cause, ...]:
    total = float(np.sum([one.probability for one in causes]))
    return tuple(
        Cause(
            one.cause,
            one.probability / total,
            one.evidence,
            one.would_confirm,
            one.remedy,
            one.consequences,
        )
        for one in causes
    )


def _consequences(cause: CutoutCause, here: Around, facts: Facts) -> tuple[str, ...]:
    """What follows when the pack's path opens first: the controllers' own voltage protections."""
    opened = {
        CutoutCause.BMS_OVERCURRENT_DISCHARGE,
        CutoutCause.BMS_OVERCURRENT_CHARGE,
        CutoutCause.BMS_OVERHEAT,
        CutoutCause.CELL_LOW_VOLTAGE,
        CutoutCause.CELL_HIGH_VOLTAGE,
        CutoutCause.SUPPLY_INTERRUPTED,
        CutoutCause.IDLE_SHUTDOWN,
    }
    if cause not in opened:
        return ()
    out = []
    drive = here.search.setup.drive(here.part.drive)
    high, low = facts.at("voltage_high_v"), facts.at("voltage_low_v")
    if high is not None and drive.overvoltage_v is not None and high > drive.overvoltage_v:
        out.append(CutoutCause.OVERVOLTAGE_TRIP.value)
    if low is not None and drive.stop_at_v is not None and low < drive.stop_at_v:
        out.append(CutoutCause.UNDERVOLTAGE_STOP.value)
    return tuple(out)
