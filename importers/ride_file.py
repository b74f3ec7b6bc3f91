"""A ride as one Parquet file that stands on its own: measurements, setup, sources, notes.

The table is stored as it was joined, float32 but for times and positions; everything else is one
JSON text in the schema's metadata, so that any Parquet reader can still use the table.
"""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from importers.curve_file import curve_text, parse_curve
from importers.errors import LogError
from importers.remote import is_remote, opened
from importers.ride import ChannelReading, Ride, RideFacts, Source, Unjudged
from importers.setup_file import parse_setup
from importers.setup_types import Setup

RIDE_FILE_VERSION = 1
"""Raised when an older hillproof could no longer read what is written."""
META_KEY = b"hillproof.ride"
EXTRA_KEY = b"hillproof.extra"
EXACT_COLUMNS = ("time_s", "latitude_deg", "longitude_deg")
"""Kept in double precision: a float32 longitude is off by up to 0.6 m."""
ROW_GROUP_ROWS = 262_144
MAX_ROWS = 50_000_000
"""More rows than 48 h at 200 Hz hold are not believed. Our choice."""


def ride_file_bytes(ride: Ride, setup: Setup, *, extra: Mapping[str, str] | None = None) -> bytes:
    """The ride file's content; see `write_ride_file`."""
    sink = pa.BufferOutputStream()
    _write(ride, setup, extra, sink)
    return bytes(sink.getvalue().to_pybytes())


def write_ride_file(
    ride: Ride, setup: Setup, path: str | Path, *, extra: Mapping[str, str] | None = None
) -> None:
    """Keep this ride, with the setup it was ridden with, whole or not at all.

    Written beside and renamed. `extra` is text by name that is kept unread in the metadata.

    Raises
    ------
    LogError : the folder does not exist or cannot be written
    """
    target = Path(path)
    try:
        handle, beside = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent or ".")
    except OSError as error:
        raise LogError(
            where=str(path), what=f"cannot be written ({error.strerror})",
            remedy="Name a file in a folder that exists and may be written.",
        ) from error  # fmt: skip
    try:
        with os.fdopen(handle, "wb") as sink:
            _write(ride, setup, extra, sink)
            sink.flush()
            os.fsync(sink.fileno())
        os.replace(beside, target)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(beside)
        raise


def read_ride_file(path: str | Path) -> tuple[Ride, Setup]:
    """A ride and its setup back from the file that `write_ride_file` wrote.

    Raises
    ------
    LogError : no ride file, a damaged one, or one of a later version
    SetupError : the setup kept in it breaks rules that came later
    """
    meta, _ = _read_meta(path)
    try:
        table = _read_table(path)
        ride = _ride_from(meta, table)
        setup = _setup_from(meta, path)
    except (pa.ArrowException, OSError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise _damaged(path, error) from error
    return ride, setup


def read_ride_extra(path: str | Path) -> dict[str, str]:
    """The texts given as `extra` when the file was written; the table is not read.

    Raises
    ------
    LogError : no ride file, a damaged one, or one of a later version
    """
    return _read_meta(path)[1]


def is_ride_file(path: str | Path) -> bool:
    """Whether this is a file that `write_ride_file` wrote, of any version."""
    try:
        return META_KEY in (_read_head(path).metadata or {})
    except (pa.ArrowException, OSError):
        return False


def _write(ride: Ride, setup: Setup, extra: Mapping[str, str] | None, sink: Any) -> None:
    names = [str(name) for name in ride.table.columns]
    arrays = []
    for name in names:
        values = ride.table[name].to_numpy()
        if values.dtype == object or not np.issubdtype(values.dtype, np.number):
            texts = [one if isinstance(one, str) else None for one in values]
            arrays.append(pa.array(texts, pa.string()))
        else:
            kind = np.float64 if name in EXACT_COLUMNS else np.float32
            arrays.append(pa.array(values.astype(kind, copy=False)))
    schema = pa.schema(
        [pa.field(name, one.type) for name, one in zip(names, arrays, strict=True)],
        metadata={
            META_KEY: json.dumps(_meta(ride, setup), allow_nan=False).encode(),
            EXTRA_KEY: json.dumps(dict(extra or {})).encode(),
        },
    )
    texts_only = [name for name, one in zip(names, arrays, strict=True) if one.type == pa.string()]
    numbers = [name for name in names if name not in texts_only]
    pq.write_table(
        pa.Table.from_arrays(arrays, schema=schema), sink, compression="zstd",
        row_group_size=ROW_GROUP_ROWS, use_dictionary=texts_only,
        column_encoding=dict.fromkeys(numbers, "BYTE_STREAM_SPLIT"),
    )  # fmt: skip


def _meta(ride: Ride, setup: Setup) -> dict[str, Any]:
    own_curve = setup.pack.rest_voltage_curve
    return {
        "version": RIDE_FILE_VERSION,
        "start": None if ride.start is None else ride.start.isoformat(),
        "drives": list(ride.drives),
        "sources": [_source_out(one) for one in ride.sources],
        "facts": {"mass_kg": ride.facts.mass_kg, "pack_temp_c": ride.facts.pack_temp_c,
                  "note": ride.facts.note},
        "notes": [list(one) for one in ride.notes],
        "unjudged": [[one.channel, one.side, one.why] for one in ride.unjudged],
        "pieces": list(ride.pieces),
        "setup_file": setup.file,
        "setup_text": setup.text,
        "curve": None if own_curve is None else curve_text(setup.curve),
    }  # fmt: skip


def _source_out(source: Source) -> dict[str, Any]:
    fields = {name: getattr(source, name) for name in Source.__slots__}
    fields["channels"] = [
        {name: getattr(one, name) for name in ChannelReading.__slots__} for one in source.channels
    ]
    fields["start"] = None if source.start is None else source.start.isoformat()
    fields["problems"] = list(source.problems)
    return {name: _plain(value) for name, value in fields.items()}


def _plain(value: Any) -> Any:
    """Numpy's numbers as Python's; not-a-number as null."""
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not np.isfinite(value) else value


def _source_in(fields: dict[str, Any]) -> Source:
    known = {name: value for name, value in fields.items() if name in Source.__slots__}
    channels = tuple(
        ChannelReading(**{k: v for k, v in one.items() if k in ChannelReading.__slots__})
        for one in fields["channels"]
    )
    start = fields["start"]
    known |= {
        "channels": channels,
        "problems": tuple(fields["problems"]),
        "start": None if start is None else datetime.fromisoformat(start),
    }
    return Source(**known)


def _ride_from(meta: dict[str, Any], table: pa.Table) -> Ride:
    columns: dict[str, Any] = {}
    for name in table.column_names:
        values = table.column(name)
        if pa.types.is_string(values.type):
            columns[name] = np.asarray(values.to_pylist(), object)
        else:
            columns[name] = values.to_numpy().astype(np.float64)
    if "time_s" not in columns:
        raise KeyError("time_s")
    if columns["time_s"].size and not np.all(np.diff(columns["time_s"]) > 0):
        raise ValueError("its times do not rise")
    import pandas as pd

    facts = meta["facts"]
    start = meta["start"]
    return Ride(
        table=pd.DataFrame(columns, copy=False),
        drives=tuple(meta["drives"]),
        sources=tuple(_source_in(one) for one in meta["sources"]),
        start=None if start is None else datetime.fromisoformat(start),
        facts=RideFacts(facts["mass_kg"], facts["pack_temp_c"], facts["note"]),
        notes=tuple((one[0], one[1]) for one in meta["notes"]),
        unjudged=tuple(Unjudged(str(a), int(b), str(c)) for a, b, c in meta.get("unjudged", ())),
        pieces=tuple(meta["pieces"]),
    )


def _read_table(path: str | Path) -> pa.Table:
    if not is_remote(path):
        return pq.read_table(path, memory_map=True)
    with opened(str(path)) as file:
        return pq.read_table(file)


def _read_head(path: str | Path) -> pq.FileMetaData:
    if not is_remote(path):
        return pq.read_metadata(path)
    with opened(str(path)) as file:
        return pq.read_metadata(file)


def _setup_from(meta: dict[str, Any], path: str | Path) -> Setup:
    curve = meta["curve"]
    name = str(meta["setup_file"]) or f"setup in {path}"
    if curve is None:
        return parse_setup(meta["setup_text"], name)
    return parse_setup(meta["setup_text"], name, read_curve=lambda file: parse_curve(curve, file))


def _read_meta(path: str | Path) -> tuple[dict[str, Any], dict[str, str]]:
    try:
        head = _read_head(path)
    except FileNotFoundError as error:
        raise LogError(
            where=str(path), what="no such file", remedy="Check the name of the ride file."
        ) from error
    except (pa.ArrowException, OSError) as error:
        raise LogError(
            where=str(path), what="is no ride file",
            remedy="A ride file is what `hillproof ride … --table F.parquet` or the book wrote; "
            "for logs use `hillproof ride`.",
        ) from error  # fmt: skip
    texts = head.metadata or {}
    if META_KEY not in texts:
        raise LogError(
            where=str(path), what="is a Parquet file, but not a ride that hillproof wrote",
            remedy="Read it as a log: `hillproof ride` takes Parquet tables, too.",
        )  # fmt: skip
    try:
        meta = json.loads(texts[META_KEY])
        extra = json.loads(texts.get(EXTRA_KEY, b"{}"))
        version = int(meta["version"])
    except (ValueError, KeyError, TypeError) as error:
        raise _damaged(path, error) from error
    if version > RIDE_FILE_VERSION:
        raise LogError(
            where=str(path),
            what=f"was written by a later hillproof (ride file version {version}; this one reads "
            f"up to {RIDE_FILE_VERSION})",
            remedy="Update hillproof, or write the ride again from its logs.",
        )
    if head.num_rows > MAX_ROWS:
        raise _damaged(path, f"it claims {head.num_rows} rows")
    return meta, {str(key): str(value) for key, value in extra.items()}


def _damaged(path: str | Path, why: object) -> LogError:
    return LogError(
        where=str(path), what=f"is a ride file, but damaged ({why})",
        remedy="Write it again from the ride's logs: `hillproof ride … --table`.",
    )  # fmt: skip
