"""Rest-voltage curves: the published ones that ship with the tool, and the rider's own as CSV."""

from __future__ import annotations

import csv
import io
import math
from functools import cache
from importlib import resources
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from importers.errors import SetupError
from importers.setup_types import Chemistry, RestVoltageCurve

COLUMNS = ("state_of_charge", "volts_per_cell")
FAMILIES: dict[Chemistry, tuple[str, ...]] = {
    Chemistry.NMC: ("nmc", "nmc_532", "nmc_111"),
    Chemistry.NCA: ("nca",),
    Chemistry.LFP: ("lfp", "lfp_mixed"),
    Chemistry.LCO: ("lco", "lco_low"),
}
"""Published curves of each chemistry, the default first; the others show how far cells of one
name lie apart."""
LEAST_ROWS = 5
"""Fewer points than this are no curve. Our choice."""
HEAD_BYTES = 4000
"""So much of a file is looked at to see whether it is a curve. Our choice."""
MOST_BYTES = 2_000_000
"""A curve is a page of numbers; anything larger is some other file [bytes]. Our choice."""
END_TOLERANCE = 0.005
"""How near to 0 and 1 the first and last state of charge must lie. Our choice."""
LEAST_RISE_V = 0.1
"""From empty to full every lithium cell rises by more than this [V]. Our choice."""
LIFT_V = 1e-6
"""Equal neighbours (a meter's last digit on a flat curve) are set this far apart, so that the
curve can be read both ways [V]. Our choice, far below any meter."""
CELL_V = (1.0, 5.0)
"""No lithium cell rests outside this [V]; the same bounds as `setup_keys`."""


@cache
def built_in_family(chemistry: Chemistry) -> tuple[RestVoltageCurve, ...]:
    """The published curves of a chemistry, the default first; empty for `other`."""
    folder = resources.files("importers.curves")
    return tuple(
        parse_curve((folder / f"{name}.csv").read_text("utf-8"), f"{name}.csv", built_in=True)
        for name in FAMILIES.get(chemistry, ())
    )


def read_curve(path: str) -> RestVoltageCurve:
    """The rider's own curve, measured cell by cell or taken from a datasheet.

    Raises
    ------
    SetupError : the file cannot be read or is no curve that rises with charge
    """
    try:
        raw = Path(path).read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _fault(path, f"the rest-voltage curve cannot be read ({reason})") from error
    if len(raw) > MOST_BYTES:
        raise _fault(path, "is far too large for a rest-voltage curve")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _fault(path, "is not a text file in UTF-8") from error
    return parse_curve(text, path)


def is_curve_file(path: str) -> bool:
    """Whether a file is a rest-voltage curve and nothing else, by its first row: such a file lies
    beside a ride's logs where the setup there names it. False where it cannot be read."""
    try:
        with open(path, "rb") as file:
            head = file.read(HEAD_BYTES).decode("utf-8-sig", "replace")
    except OSError:
        return False
    rows = (line.strip() for line in head.splitlines())
    first = next((line for line in rows if line and not line.startswith("#")), "")
    return sorted(_names(first)[0]) == sorted(COLUMNS)


def parse_curve(text: str, file: str, *, built_in: bool = False) -> RestVoltageCurve:
    """A curve from CSV text with columns state_of_charge (0 to 1) and volts_per_cell.

    Comment lines begin with `#`; one that begins `# source:` names where the curve is from.
    Semicolons with decimal commas are read too. Raises `SetupError` as `read_curve`.
    """
    numbered = [(n, line.strip()) for n, line in enumerate(text.splitlines(), 1)]
    comments = [line.lstrip("# ") for _, line in numbered if line.startswith("#")]
    body = [(n, line) for n, line in numbered if line and not line.startswith("#")]
    if not body:
        raise _fault(file, "is empty")
    points = _points(body, file)
    charge, volts = _checked(points, file)
    sources = [c.split(":", 1)[1].strip() for c in comments if c.lower().startswith("source:")]
    for array in (charge, volts):
        array.setflags(write=False)
    return RestVoltageCurve(charge, volts, sources[0] if sources else Path(file).name, built_in)


def curve_text(curve: RestVoltageCurve) -> str:
    """The curve as CSV text that `parse_curve` reads back unchanged: how a ride keeps it."""
    source = " ".join(curve.source.split())
    rows = zip(curve.state_of_charge.tolist(), curve.volts_per_cell.tolist(), strict=True)
    lines = [f"# source: {source}", ",".join(COLUMNS), *(f"{z!r},{v!r}" for z, v in rows)]
    return "\n".join(lines) + "\n"


def _points(body: list[tuple[int, str]], file: str) -> list[tuple[int, float, float]]:
    names, mark = _names(body[0][1])
    if any(column not in names for column in COLUMNS):
        raise _fault(
            f"{file}, line {body[0][0]}",
            f"the first row names the columns {', '.join(repr(n) for n in names)[:200]}",
        )
    at = [names.index(column) for column in COLUMNS]
    points = []
    for line, row_text in body[1:]:
        row = next(csv.reader(io.StringIO(row_text), delimiter=mark), [])
        try:
            charge, volts = (_number(row[i], mark) for i in at)
        except (IndexError, ValueError) as error:
            raise _fault(
                f"{file}, line {line}", f"{row_text[:60]!r} holds no two numbers"
            ) from error
        points.append((line, charge, volts))
    return points


def _names(header: str) -> tuple[list[str], str]:
    """The columns of a first row, and what stands between them."""
    mark = next((m for m in (";", "\t", ",") if m in header), ",")
    return [name.strip().strip('"').lower() for name in header.split(mark)], mark


def _number(text: str, mark: str) -> float:
    value = float(text.strip().replace(",", ".") if mark != "," else text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _checked(
    points: list[tuple[int, float, float]], file: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if len(points) < LEAST_ROWS:
        raise _fault(file, f"has {len(points)} points, too few for a curve")
    if points[0][1] > points[-1][1]:
        points = points[::-1]
    first, last = points[0][1], points[-1][1]
    if last > 1 + END_TOLERANCE:
        raise _fault(file, f"state_of_charge goes up to {last:g}", "Write it from 0 to 1.")
    if abs(first) > END_TOLERANCE or last < 1 - END_TOLERANCE:
        what = f"state_of_charge goes from {first:g} to {last:g}"
        raise _fault(file, what, "It has to reach from 0 to 1.")
    for line, _, cell_v in points:
        if not CELL_V[0] <= cell_v <= CELL_V[1]:
            what = f"{cell_v:g} V is not the voltage of one cell"
            remedy = "Divide the pack's voltage by `series`."
            raise _fault(f"{file}, line {line}", what, remedy)
    for (_, z0, v0), (line, z1, v1) in pairwise(points):
        if z1 <= z0 or v1 < v0:
            column = COLUMNS[0] if z1 <= z0 else COLUMNS[1]
            raise _fault(f"{file}, line {line}", f"{column} does not rise with charge")
    return _arrays(points, file)


def _arrays(
    points: list[tuple[int, float, float]], file: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    charge = np.array([z for _, z, _ in points], np.float64)
    charge[0], charge[-1] = 0.0, 1.0
    volts = np.array([v for _, _, v in points], np.float64)
    step = LIFT_V * np.arange(volts.size)
    lifted = np.maximum.accumulate(volts - step) + step
    if lifted[-1] - lifted[0] < LEAST_RISE_V:
        raise _fault(file, "volts_per_cell hardly rises from empty to full")
    return charge, np.where(lifted - volts > LIFT_V / 2, lifted, volts)


def _fault(where: str, what: str, remedy: str = "") -> SetupError:
    about = (
        f"A curve has the columns {' and '.join(COLUMNS)}: state of charge from 0 to 1, "
        "volts of one cell, rising."
    )
    return SetupError(where=where, what=what, remedy=remedy or about)
