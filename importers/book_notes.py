"""What a rider wrote into the book by hand: things done, and measurements with a meter."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date

from importers.curve_file import CELL_V
from importers.errors import BookError
from importers.setup_types import Setup

NOTE_ENDING = ".note.json"

OVER_FULL_V = 0.1
"""No cell rests so far above the voltage it is charged to [V]. Our choice: chargers and balancers
hold within 0.05 V."""
LEVEL_POINTS = 3.0
"""How well a charge level that a rider reads off is known, half of a 95 % interval [points]. Our
choice: displays show whole per cents and correct themselves now and then."""
HELD_OF_RATED = (0.1, 1.5)
"""A pack that holds less or more of its rating than this is not the setup's. Our choice: one that
holds a tenth no longer drives, and none holds half again what is printed on it."""


@dataclass(frozen=True, slots=True)
class HandNote:
    """One entry by hand; None where nothing was measured."""

    about: str
    """A ride's name in the book, or a date (ISO 8601)."""
    day: str
    """The date it belongs to (ISO 8601): the ride's, or the one given."""
    text: str
    rest_voltage_v: float | None = None
    """Pack voltage after long rest, by meter."""
    cell_min_v: float | None = None
    cell_max_v: float | None = None
    charged_ah: float | None = None
    """What the charger counted from `from_pct` to `to_pct`."""
    from_pct: float | None = None
    to_pct: float | None = None

    def __post_init__(self) -> None:
        date.fromisoformat(self.day)


def note_bytes(note: HandNote) -> bytes:
    """A note as the file that keeps it."""
    return (json.dumps(asdict(note), ensure_ascii=False, indent=1) + "\n").encode()


def read_notes(files: Sequence[tuple[str, bytes | None]]) -> tuple[list[HandNote], list[str]]:
    """All notes that can be read, by day, and what is wrong with the others; `files` are names and
    contents, None where a file could not be read."""
    known = {one.name for one in fields(HandNote)}
    notes: list[HandNote] = []
    faults: list[str] = []
    for name, data in files:
        try:
            raw = json.loads((data or b"").decode("utf-8"))
            notes.append(HandNote(**{key: raw[key] for key in known if key in raw}))
        except (ValueError, TypeError, KeyError) as error:
            faults.append(f"{name}: not a readable note ({type(error).__name__})")
    return sorted(notes, key=lambda one: (one.day, one.about, one.text)), faults


def checked_measures(
    *,
    rest_voltage_v: float | None,
    cell_min_v: float | None,
    cell_max_v: float | None,
    charged_ah: float | None,
    from_pct: float | None,
    to_pct: float | None,
) -> dict[str, float | None]:
    """The measurements as a dict, when they can be true together.

    Raises
    ------
    BookError : a value out of its range, or a charge without its two levels
    """
    faults: list[str] = []
    for name, value, low, high in (
        ("--rest-voltage", rest_voltage_v, 1.0, 1000.0),
        ("--cell-min", cell_min_v, 0.5, 5.0),
        ("--cell-max", cell_max_v, 0.5, 5.0),
        ("--charged-ah", charged_ah, 0.001, 10_000.0),
        ("--from-pct", from_pct, 0.0, 100.0),
        ("--to-pct", to_pct, 0.0, 100.0),
    ):
        if value is not None and not low <= value <= high:
            faults.append(f"{name} {value:g} is not between {low:g} and {high:g}")
    charge = (charged_ah, from_pct, to_pct)
    if any(one is not None for one in charge) and any(one is None for one in charge):
        faults.append("--charged-ah, --from-pct and --to-pct belong together")
    if from_pct is not None and to_pct is not None and to_pct <= from_pct:
        faults.append("--to-pct must lie above --from-pct")
    if cell_min_v is not None and cell_max_v is not None and cell_max_v < cell_min_v:
        faults.append("--cell-max must not lie below --cell-min")
    if faults:
        raise BookError(where="book note", what="; ".join(faults), remedy="Correct and try again.")
    return {
        "rest_voltage_v": rest_voltage_v,
        "cell_min_v": cell_min_v,
        "cell_max_v": cell_max_v,
        "charged_ah": charged_ah,
        "from_pct": from_pct,
        "to_pct": to_pct,
    }


def not_this_pack(setup: Setup, measures: dict[str, float | None]) -> list[str]:
    """Which of the measurements cannot be of the setup's pack, and why; empty where all can."""
    pack, faults = setup.pack, []
    full_v = setup.cell_full_v
    top_v = full_v + OVER_FULL_V
    rest = measures["rest_voltage_v"]
    low, high = measures["cell_min_v"], measures["cell_max_v"]
    if rest is not None and not CELL_V[0] <= rest / pack.series <= top_v:
        text = (
            f"--rest-voltage {rest:g} is {rest / pack.series:.2f} V in each of {pack.series} cells "
            f"in series, which are full at {full_v:g} V"
        )
        one_cell = CELL_V[0] <= rest <= top_v
        faults.append(text + (": give the whole pack's voltage" if one_cell else ""))
    for name, value in (("--cell-min", low), ("--cell-max", high)):
        if value is not None and value > top_v:
            faults.append(f"{name} {value:g} is above a full cell's {full_v:g} V")
    if not faults and rest is not None and low is not None and high is not None:
        mean = rest / pack.series
        if not low - OVER_FULL_V <= mean <= high + OVER_FULL_V:
            faults.append(
                f"--rest-voltage {rest:g} is {mean:.2f} V a cell, which does not lie between "
                f"--cell-min {low:g} and --cell-max {high:g}"
            )
    return faults + _not_its_charge(setup, measures)


def _not_its_charge(setup: Setup, measures: dict[str, float | None]) -> list[str]:
    ah, start, end = (measures[key] for key in ("charged_ah", "from_pct", "to_pct"))
    if ah is None or start is None or end is None:
        return []
    rated, points = setup.pack.capacity_ah, end - start
    off = 2 * LEVEL_POINTS  # at either end
    least = 100 * ah / (points + off)
    most = 100 * ah / (points - off) if points > off else float("inf")
    if least <= HELD_OF_RATED[1] * rated and most >= HELD_OF_RATED[0] * rated:
        return []
    return [
        f"--charged-ah {ah:g} from {start:g} to {end:g} % would be a pack of "
        f"{100 * ah / points:.1f} Ah, and it is rated {rated:g} Ah"
    ]
