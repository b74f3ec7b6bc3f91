"""How the third corpus's files look as bytes: clocks, marks, quoting, preambles, wrappings."""

from __future__ import annotations

import gzip
import io
import lzma
import zipfile
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from ledger.third_logs import File

BEGAN = datetime(2031, 4, 16, 9, 30, tzinfo=UTC)
SUMMER = timezone(timedelta(hours=2))


def stamps(seconds: np.ndarray, form: str) -> list[list[str]]:
    """The clock's columns as text."""
    if form == "s":
        return [[f"{s:.3f}" for s in seconds]]
    if form in ("ms", "wrap_ms", "us"):
        scale = 1e6 if form == "us" else 1e3
        start = 2**32 - 60_000 if form == "wrap_ms" else 40.0 * scale
        return [
            [
                str(round(start + s * scale) % (2**32 if form == "wrap_ms" else 2**63))
                for s in seconds
            ]
        ]
    if form in ("epoch_s", "epoch_ms"):
        base = BEGAN.timestamp()
        return [
            [
                f"{base + s:.3f}" if form == "epoch_s" else str(round((base + s) * 1000))
                for s in seconds
            ]
        ]
    when = [BEGAN + timedelta(milliseconds=round(float(s) * 1000)) for s in seconds]
    milli = [f"{w.microsecond // 1000:03d}" for w in when]
    if form == "iso_z":
        return [[f"{w:%Y-%m-%dT%H:%M:%S}.{m}Z" for w, m in zip(when, milli, strict=True)]]
    when = [w.astimezone(SUMMER) for w in when]
    if form == "iso_offset":
        return [[f"{w:%Y-%m-%d %H:%M:%S}.{m}+02:00" for w, m in zip(when, milli, strict=True)]]
    if form == "datetime_de":
        return [[f"{w:%d.%m.%Y %H:%M:%S},{m}" for w, m in zip(when, milli, strict=True)]]
    if form == "ampm":
        return [
            [
                f"{w.month}/{w.day}/{w.year} {w:%I:%M:%S}.{m} {w:%p}"
                for w, m in zip(when, milli, strict=True)
            ]
        ]
    if form == "clock":
        return [[f"{w:%H:%M:%S}.{m}" for w, m in zip(when, milli, strict=True)]]
    if form == "two":
        return [
            [f"{w:%d/%m/%Y}" for w in when],
            [f"{w:%H:%M:%S}.{m}" for w, m in zip(when, milli, strict=True)],
        ]
    raise ValueError(form)


def gpx(file: File, place: dict[str, np.ndarray]) -> bytes:
    """GPX 1.1, as the open schema has it."""
    rows = "".join(
        f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>{h:.1f}</ele><time>{t}</time></trkpt>\n'
        for a, b, h, t in zip(
            place["lat"],
            place["lon"],
            place["alt"],
            stamps(file.seconds + file.offset_s, "iso_z")[0],
            strict=True,
        )
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="home made" '
        f'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>\n{rows}</trkseg></trk></gpx>\n'
    ).encode()


def written(file: File, maker: Any) -> None:
    """Fill in the file's bytes, its full name, and the clock columns before its own."""
    hand, rng = maker.hand, maker.rng
    if not file.columns:
        rows = np.minimum(np.round(file.seconds * 100).astype(int), len(maker.run.t_s) - 1)
        file.name, file.data = f"{file.name}.gpx", gpx(file, maker.place(rows))
        return
    wrap = maker._one(("", "", "", "gz", "zip", "xz", "parquet"))
    comma = hand.decimal == "," and wrap != "parquet"
    begun_s = 40.0 if maker.time == "s" else 0.0
    times = stamps(file.seconds + file.offset_s + begun_s, maker.time)
    names = [hand.words["time"].split("|")[0]] if len(times) == 1 else ["Date", "Time"]
    names[0] = {
        "ms": names[0].replace("(s)", "(ms)").replace("[s]", "[ms]"),
        "us": names[0].replace("[ms]", "[µs]"),
        "epoch_s": "epoch s",
        "epoch_ms": "epoch ms",
        "clock": names[0].split(" [")[0],
        "datetime_de": names[0].split(" [")[0].split(" (")[0],
    }.get(maker.time, names[0])
    from ledger.third_logs import Column

    if comma and maker.time == "s":
        times = [[t.replace(".", ",") for t in times[0]]]
    own = file.columns
    file.columns = [
        Column(name, "time_s", "", 1, True, np.array(t))
        for name, t in zip(names, times, strict=True)
    ] + own
    cells = [
        list(c.values) if c.values.dtype.kind == "U" else _texts(c.values, c.decimals, comma)
        for c in file.columns
    ]
    if wrap == "parquet":
        file.name, file.data = f"{file.name}.parquet", _parquet(file)
        return
    data = _text(file, cells, hand, rng).encode(hand.encoding)
    file.name += maker._one((".csv", ".csv", ".txt"))
    if wrap == "gz":
        file.name, data = f"{file.name}.gz", gzip.compress(data, 1, mtime=0)
    elif wrap == "xz":
        file.name, data = f"{file.name}.xz", lzma.compress(data, preset=0)
    elif wrap == "zip":
        inner, out = file.name, io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
            pack.writestr(inner, data)
        file.name, data = f"{file.name}.zip", out.getvalue()
    file.data = data


def _texts(values: np.ndarray, decimals: int, comma: bool) -> list[str]:
    texts = [f"{v + 0.0:.{decimals}f}" for v in values]
    return [t.replace(".", ",") for t in texts] if comma else texts


def _text(file: File, cells: list[list[str]], hand: Any, rng: np.random.Generator) -> str:
    mark = " | " if "spaced" in hand.form else hand.mark
    quote = (
        (lambda t: f'"{t}"')
        if "quoted" in hand.form
        else (lambda t: f'"{t}"' if hand.mark in t else t)
    )
    tail = hand.mark if "trailing" in hand.form else ""
    top = mark.join(quote(c.header) for c in file.columns) + tail
    lines = [
        mark.join(row) + tail
        for row in zip(*([quote(t) for t in one] for one in cells), strict=True)
    ]
    head: list[str] = []
    if "preamble" in hand.form:
        head += ["Sunday ride with the neighbours", "logger: own build, 3rd version", ""]
    if "comments" in hand.form:
        head += ["# written by the box under the seat"]
        lines.insert(len(lines) // 3, "# button pressed")
    head.append(top)
    if "units_row" in hand.form:
        head.append(mark.join(["s"] + [c.unit or "-" for c in file.columns[1:]]))
    if "repeated" in hand.form:
        lines.insert(len(lines) // 2, top)
    ending = "\r\n" if hand.encoding != "utf-8" or "quoted" in hand.form else "\n"
    text = ending.join(head + lines) + ending
    if rng.random() < 0.3:  # the card was pulled while a line was being written
        text = text[: -int(rng.integers(4, 20))]
    return text


def _parquet(file: File) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns = {}
    for c in file.columns:
        if c.values.dtype.kind != "U":
            columns[c.header] = pa.array(np.round(c.values, c.decimals))
            continue
        try:
            columns[c.header] = pa.array(np.array([float(t) for t in c.values]))
        except ValueError:
            columns[c.header] = pa.array([str(t) for t in c.values])
    out = io.BytesIO()
    pq.write_table(pa.table(columns), out)
    return out.getvalue()
