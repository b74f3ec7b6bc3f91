"""GPX 1.1 tracks (an open standard): positions, heights and times as one log.

The text is parsed as it streams; a document type, and with it every entity, is refused before it
can grow.

Sources: GPX 1.1 schema, topografix.com/GPX/1/1 (lat and lon in WGS 84 degrees, ele in metres,
time in UTC).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from importers.errors import LogError
from importers.log_table import LogTable
from importers.place_fixes import fixes_only
from importers.ride import ChannelReading
from importers.time_text import read_text_times
from importers.timebase import TimeColumn, rate_hz, read_time, true_rate_hz

MAX_BYTES = 512 * 1024 * 1024
"""A longer track is not believed: 24 h at 10 fixes a second are about 150 MB. Our choice."""
POINT_TAGS = ("trkpt", "rtept")
_SURE = 0.99


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """A track's n points in order; height is NaN and time None where not recorded."""

    latitude_deg: NDArray[np.float64]
    longitude_deg: NDArray[np.float64]
    altitude_m: NDArray[np.float64]
    times: tuple[str | None, ...]


def is_gpx(path: str | Path) -> bool:
    """Whether the file begins like a GPX document."""
    try:
        with open(path, "rb") as source:
            head = source.read(4096)
    except OSError:
        return False
    return b"<gpx" in head.replace(b"\x00", b"")


def read_track(path: str | Path) -> Track:
    """The points of a GPX file, with or without times.

    Raises
    ------
    LogError : no such file, no GPX, or no points in it
    """
    try:
        if Path(path).stat().st_size > MAX_BYTES:
            raise _fault(path, "is too long for a track", "Export a shorter one.")
        data = Path(path).read_bytes()
    except OSError as error:
        raise _fault(path, f"cannot be read ({error.strerror})", "Check its name.") from error
    return parse_track(data, str(path))


def parse_track(data: bytes, file: str) -> Track:
    """The points of a GPX document; `file` is how messages name it.

    Raises
    ------
    LogError : no GPX, or no points in it
    """
    reader = _Reader(file)
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = reader.refuse
    parser.EntityDeclHandler = reader.refuse
    parser.StartElementHandler = reader.opened
    parser.EndElementHandler = reader.closed
    parser.CharacterDataHandler = reader.text
    cut = ""
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        cut = f"line {error.lineno}: {expat.ErrorString(error.code)}"
        if len(reader.points) < 2:
            raise _fault(
                file, f"is no whole GPX file ({cut})", "Export the track again."
            ) from error
    if not reader.points:
        raise _fault(file, "has no track points", "Export the recorded track, not waypoints.")
    table = np.asarray(reader.points, np.float64)
    bad = (np.abs(table[:, 0]) > 90.0) | (np.abs(table[:, 1]) > 180.0)
    if bad.any():
        raise _fault(file, f"{int(bad.sum())} positions are not on earth", "Export it again.")
    return Track(table[:, 0], table[:, 1], table[:, 2], tuple(reader.times))


def read_gpx_log(path: str | Path, file: str | None = None) -> LogTable:
    """A GPX track as one log of role `gps`.

    Raises
    ------
    LogError : no GPX, no points, or points without times
    """
    name = str(path) if file is None else file
    track = read_track(path)
    times = pa.array(track.times, pa.string())
    if times.null_count == len(times) or read_text_times(times) is None:
        raise _fault(name, "its points have no times", "Export the recorded ride, not a route.")
    reading = read_time([TimeColumn("time", times, named=1.0)], file=name)
    columns = {
        "latitude_deg": track.latitude_deg[reading.keep],
        "longitude_deg": track.longitude_deg[reading.keep],
    }
    if np.isfinite(track.altitude_m).any():
        columns["altitude_m"] = track.altitude_m[reading.keep]
    fixed, nowhere = fixes_only(reading.time_s, columns)
    columns = {name: np.asarray(values, np.float64) for name, values in fixed.items()}
    channels = [ChannelReading("time", "time_s", reading.unit, 1, None, reading.sure)]
    headers = {
        "latitude_deg": ("lat", "°"),
        "longitude_deg": ("lon", "°"),
        "altitude_m": ("ele", "m"),
    }
    for channel, values in columns.items():
        header, unit = headers[channel]
        pace = true_rate_hz(reading.time_s, values)
        channels.append(ChannelReading(header, channel, unit, 1, pace, _SURE, "GPX 1.1"))
    return LogTable(
        file=name, time_s=reading.time_s, columns=columns, readings=tuple(channels),
        rows=len(track.times), rows_dropped=reading.dropped, rate_hz=rate_hz(reading.time_s),
        start=reading.start, role="gps", role_sure=0.99, problems=(*reading.problems, *nowhere),
        notes=reading.notes, first_s=reading.first_s, of_day=reading.of_day,
        restarts=reading.restarts,
    )  # fmt: skip


@dataclass(slots=True)
class _Reader:
    """Collects points while the parser walks through the document."""

    file: str
    points: list[tuple[float, float, float]] = field(default_factory=list)
    times: list[str | None] = field(default_factory=list)
    _open: list[str] = field(default_factory=list)
    _text: list[str] = field(default_factory=list)
    _here: tuple[float, float] | None = None
    _height: float = float("nan")
    _time: str | None = None

    def refuse(self, *_: object) -> None:
        """Document types and entities have no place in a track."""
        raise _fault(self.file, "declares a document type, as no track does", "Export it again.")

    def opened(self, name: str, attributes: dict[str, str]) -> None:
        """A tag begins."""
        tag = name.rsplit(":", 1)[-1]
        if not self._open and tag != "gpx":
            raise _fault(self.file, f"is XML, but no GPX (its root is <{tag[:40]}>)", "")
        self._open.append(tag)
        self._text.clear()
        if tag in POINT_TAGS:
            self._here = (_number(attributes.get("lat")), _number(attributes.get("lon")))
            self._height, self._time = float("nan"), None

    def text(self, data: str) -> None:
        """Text between tags; only what a point needs is kept."""
        if self._here is not None and len(self._text) < 64:
            self._text.append(data)

    def closed(self, name: str) -> None:
        """A tag ends."""
        tag = self._open.pop()
        parent = self._open[-1] if self._open else ""
        if tag == "ele" and parent in POINT_TAGS:
            self._height = _number("".join(self._text))
        elif tag == "time" and parent in POINT_TAGS:
            self._time = "".join(self._text).strip()
        elif tag in POINT_TAGS and self._here is not None:
            if np.isfinite(self._here).all():
                self.points.append((*self._here, self._height))
                self.times.append(self._time)
            self._here = None


def _number(text: str | None) -> float:
    try:
        return float(text) if text is not None else float("nan")
    except ValueError:
        return float("nan")


def _fault(path: str | Path, what: str, remedy: str) -> LogError:
    return LogError(where=str(path), what=what, remedy=remedy)
