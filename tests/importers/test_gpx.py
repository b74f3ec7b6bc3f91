"""GPX 1.1 tracks: what the open standard says, and what has no place in a track."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from importers.errors import LogError
from importers.gpx import is_gpx, parse_track, read_gpx_log

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
)
TAIL = "</trkseg></trk></gpx>"


def points(count: int, *, times: bool = True) -> str:
    return "".join(
        f'<trkpt lat="{47 + k * 1e-4:.6f}" lon="8.5"><ele>{500 + k}</ele>'
        + (f"<time>2031-05-04T09:12:{k:02d}Z</time>" if times else "")
        + "</trkpt>"
        for k in range(count)
    )


def test_a_track_is_a_log_of_positions(tmp_path: Path) -> None:
    file = tmp_path / "weg.gpx"
    file.write_text(HEAD + points(30) + TAIL)
    log = read_gpx_log(file)
    assert is_gpx(file)
    assert log.role == "gps"
    assert log.start == datetime(2031, 5, 4, 9, 12, tzinfo=UTC)
    assert np.allclose(log.time_s, np.arange(30))
    assert np.allclose(log.columns["latitude_deg"], 47 + np.arange(30) * 1e-4)
    assert np.allclose(log.columns["altitude_m"], 500 + np.arange(30))
    assert log.rate_hz == pytest.approx(1.0)


def test_the_same_points_as_a_reference_reader() -> None:
    gpxpy = pytest.importorskip("gpxpy")
    text = HEAD + points(20) + TAIL
    theirs = gpxpy.parse(text).tracks[0].segments[0].points
    ours = parse_track(text.encode(), "a.gpx")
    assert np.allclose(ours.latitude_deg, [one.latitude for one in theirs])
    assert np.allclose(ours.altitude_m, [one.elevation for one in theirs])


def test_a_track_cut_short_keeps_its_points() -> None:
    assert parse_track((HEAD + points(20)).encode(), "a.gpx").latitude_deg.size == 20


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">'
    "]><gpx>&b;</gpx>"
)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (BOMB, "document type"),
        ("<html></html>", "no GPX"),
        ("nothing", "no whole GPX"),
        (HEAD + TAIL, "no track points"),
        (HEAD + '<trkpt lat="95" lon="8"/><trkpt lat="95" lon="8"/>' + TAIL, "not on earth"),
    ],
)
def test_what_is_no_track_is_said_in_one_message(text: str, says: str) -> None:
    with pytest.raises(LogError, match=says):
        parse_track(text.encode(), "a.gpx")


def test_a_route_without_times_is_no_log(tmp_path: Path) -> None:
    file = tmp_path / "a.gpx"
    file.write_text(HEAD + points(20, times=False) + TAIL)
    with pytest.raises(LogError, match="no times"):
        read_gpx_log(file)
