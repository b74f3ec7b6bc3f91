"""A ride as one file: what goes in comes out, and what is no ride file says so."""

from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from setup_maker import TRIKE, setup_of

from importers import ride_file
from importers.errors import LogError
from importers.ride import ChannelReading, Ride, RideFacts, Source
from importers.ride_file import (
    is_ride_file,
    read_ride_extra,
    read_ride_file,
    ride_file_bytes,
    write_ride_file,
)

ZONE = timezone(timedelta(hours=2))


def ride() -> Ride:
    time_s = np.arange(200) * 0.05 - 1.0
    table = pd.DataFrame(
        {
            "time_s": time_s,
            "left.battery_current_a": np.where(time_s < 3, 12.5, np.nan),
            "left.status": np.where(time_s < 3, "läuft", None).astype(object),
            "latitude_deg": 47.123456789 + time_s * 1e-7,
        }
    )
    channels = (ChannelReading("I [A]", "left.battery_current_a", "A", -1, 20.0, 0.98, "sag"),)
    source = Source(
        "l.csv", "left", 200, 3, 20.0, 0.0, 0.0, channels, ("3 rows mended",),
        datetime(2031, 5, 4, 9, 12, 0, 123456, tzinfo=ZONE), -0.01, 0.01,
    )  # fmt: skip
    return Ride(
        table, ("left",), (source,), datetime(2031, 5, 4, 9, 12, tzinfo=ZONE),
        RideFacts(120.0, 12.0, "naß"), (("ride.start", "a note"),), ("left: broke off",),
    )  # fmt: skip


def test_a_ride_comes_back_whole(tmp_path: Path) -> None:
    file = tmp_path / "fahrt ä.parquet"
    setup = setup_of(TRIKE)
    write_ride_file(ride(), setup, file, extra={"summary": '{"a": 1}'})
    back, kept = read_ride_file(file)
    want = ride()
    assert (back.sources, back.drives, back.start) == (want.sources, want.drives, want.start)
    assert (back.facts, back.notes, back.pieces) == (want.facts, want.notes, want.pieces)
    assert kept.text == setup.text
    assert kept.drives == setup.drives
    pd.testing.assert_frame_equal(back.table, want.table)
    assert read_ride_extra(file) == {"summary": '{"a": 1}'}
    assert is_ride_file(file)
    assert [one.name for one in tmp_path.iterdir()] == [file.name]


def test_the_same_ride_gives_the_same_bytes() -> None:
    setup = setup_of(TRIKE)
    assert ride_file_bytes(ride(), setup) == ride_file_bytes(ride(), setup)


def test_what_is_no_ride_file_is_said_plainly(tmp_path: Path) -> None:
    foreign, text, broken = tmp_path / "f.parquet", tmp_path / "t.parquet", tmp_path / "b.parquet"
    pq.write_table(pa.table({"a": [1]}), foreign)
    text.write_text("time,voltage\n")
    broken.write_bytes(ride_file_bytes(ride(), setup_of(TRIKE))[:-40])
    for file, says in ((foreign, "not a ride"), (text, "no ride file"), (broken, "no ride file")):
        with pytest.raises(LogError, match=says):
            read_ride_file(file)
    with pytest.raises(LogError, match="no such file"):
        read_ride_file(tmp_path / "none.parquet")


def test_a_later_version_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "a.parquet"
    monkeypatch.setattr(ride_file, "RIDE_FILE_VERSION", 99)
    write_ride_file(ride(), setup_of(TRIKE), file)
    monkeypatch.undo()
    with pytest.raises(LogError, match="later hillproof"):
        read_ride_file(file)


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="cannot be written"):
        write_ride_file(ride(), setup_of(TRIKE), tmp_path / "no" / "a.parquet")
