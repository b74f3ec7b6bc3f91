"""Does the rider's demand arrive: the table, and sentences for what is not as it should be."""

from __future__ import annotations

from analyzer.rider_inputs import DriveInput, FirstRoll, RiderInputs
from reports.numbers import UNKNOWN, duration, fixed, quantity
from reports.sentences import counted, joined
from reports.tables import Row, Table

HEADS = (
    "Drive",
    "Highest demand",
    "Full arrives",
    "At rest",
    "Noise at rest",
    "Current flows from",
    "Current at rest",
)
ROLL = (
    ("sides_turn_alike", "both sides turn alike", "the sides do not turn alike"),
    ("sides_pull_alike", "both sides pull alike", "the sides do not pull alike"),
    (
        "zero_gives_zero",
        "without demand no current flows",
        "current flows without demand",
    ),
    (
        "readings_agree",
        "the voltage readings agree at rest",
        "the voltage readings differ at rest by more than 1 %",
    ),
    (
        "firm_stop",
        "a stop with motor braking was part of it",
        "no stop with motor braking was part of it: brake once firmly on the flat",
    ),
)


def inputs_table(inputs: RiderInputs | None) -> Table:
    """One row a drive."""
    drives = () if inputs is None else inputs.drives
    rows = tuple(_row(one) for one in drives if one.highest_pct is not None)
    return Table("The rider's demand as it arrived on each drive", HEADS, rows)


def _row(one: DriveInput) -> Row:
    return Row(
        (
            one.drive,
            _pct(one.highest_pct),
            {True: "yes", False: "no", None: "not asked for"}[one.full_arrives],
            _pct(one.rest_pct, 1),
            _pct(one.noise_pct, 1),
            _pct(one.dead_band_pct),
            UNKNOWN if one.rest_current_a is None else quantity(one.rest_current_a, "a"),
        )
    )


def _pct(value: float | None, decimals: int = 0) -> str:
    return UNKNOWN if value is None else f"{fixed(value, decimals)} %"


def inputs_sentences(inputs: RiderInputs | None) -> tuple[str, ...]:
    """What the demand says, what is wrong first; empty where no demand is logged."""
    if inputs is None:
        return ()
    out = []
    known = [one for one in inputs.drives if one.highest_pct is not None]
    for one in known:
        if one.full_arrives is False:
            out.append(
                f"Full demand reached another drive, {one.drive} got {_pct(one.highest_pct)} at "
                "most: calibrate its input, else that side stays behind on every hill."
            )
        if one.rest_is_zero is False:
            out.append(
                f"{one.drive}'s demand rests at {_pct(one.rest_pct, 1)}, not at zero: it may "
                "creep. Calibrate its input with the wheels off the ground."
            )
    if known and not out:
        out.append(_all_well(known))
    if inputs.free_wheels:
        seconds = sum(one.length_s for one in inputs.free_wheels)
        stretches = counted(len(inputs.free_wheels), "stretch", "stretches")
        out.append(
            f"The wheels turned off the ground for {duration(seconds)} in {stretches}: nothing is "
            "concluded from those seconds."
        )
    if inputs.first_roll is not None:
        out.append(_first_roll(inputs.first_roll))
    return tuple(out)


def _all_well(known: list[DriveInput]) -> str:
    full = [one.full_arrives for one in known]
    first = (
        f"Full demand arrives as full on {joined([one.drive for one in known])}"
        if all(full)
        else f"Full demand was never asked for: {_pct(max(one.highest_pct or 0 for one in known))} "
        "at most"
    )
    rests = [one.rest_is_zero for one in known]
    second = "; at rest it is zero" if all(rests) else "; the ride shows no rest to judge zero by"
    flows = [one.dead_band_pct for one in known if one.dead_band_pct is not None]
    third = f"; more than 1 A flows from about {_pct(max(flows))} on" if flows else ""
    return f"{first}{second}{third}."


def _first_roll(roll: FirstRoll) -> str:
    good = [yes for name, yes, _ in ROLL if getattr(roll, name) is True]
    bad = [no for name, _, no in ROLL if getattr(roll, name) is False]
    told = [*bad, *good]
    verdict = "A first roll" + (", not yet as it should be: " if bad else ": ")
    return f"{verdict}{joined(told) or 'too little to judge'}."
