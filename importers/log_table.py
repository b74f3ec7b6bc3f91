"""One log file as read: columns named by our vocabulary, values in SI units, its own clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from importers.ride import ChannelReading, Unjudged


@dataclass(frozen=True, slots=True, eq=False)
class LogTable:
    """What one file holds, before it is joined with others.

    `columns` are named as in `importers.channels`. A file of one drive has that drive's channels
    without the drive before them (`battery_current_a`); a wide or long file with several drives
    has them with it (`left.battery_current_a`). Arrays have n values in SI units, signs settled,
    missing is NaN; `status` columns are object arrays of text.
    """

    file: str
    """As typed."""
    time_s: NDArray[np.float64]
    """n times since the first row on the file's own clock, rising strictly."""
    columns: Mapping[str, NDArray[np.float64] | NDArray[np.object_]]
    readings: tuple[ChannelReading, ...]
    """One per column of the file, in its order, those not read included."""
    rows: int
    rows_dropped: int
    rate_hz: float | None
    start: datetime | None = None
    """The instant of the first row; with a zone where the file gives one."""
    role: str | None = None
    """What the file seems to be: a drive's name, `gps`, `bms`, `all`, or None in doubt."""
    role_sure: float = 0.0
    problems: tuple[str, ...] = ()
    notes: tuple[tuple[str, str], ...] = field(default=())
    """(about, text): assumed zone, zero of a current taken."""
    unjudged: tuple[Unjudged, ...] = ()
    """Channels, named as in `columns`, whose limits are not to be checked."""
    first_s: float = 0.0
    """What the file's own clock showed at the first row [s]: `TimeReading.first_s`."""
    of_day: bool = False
    """True when that clock shows the time of day without a date."""
    restarts: tuple[int, ...] = ()
    """Positions in `time_s` from which the logger began anew: `TimeReading.restarts`."""
    form: str = ""
    """How the file is written, in a few words: `RawTable.form`."""
