"""The hill that `predict` is asked about, as typed and checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from importers.errors import UsageError

if TYPE_CHECKING:
    from analyzer.hill_ahead import HillAhead

KMH = 3.6
USUAL_TEMP_C = 20.0
"""Motors, controllers, pack and air where `--temp` is not given [°C]; the answer says so."""
RANGES = (
    ("--grade", "grade_pct", -50.0, 50.0, "%"),
    ("--length", "length_m", 10.0, 100_000.0, "m"),
    ("--charge", "charge_pct", 0.0, 100.0, "%"),
    ("--temp", "temp_c", -30.0, 60.0, "°C"),
    ("--speed", "speed_kmh", 1.0, 150.0, "km/h"),
    ("--extra-mass", "extra_mass_kg", -500.0, 1000.0, "kg"),
)
"""What is believed of a hill. Our choice: beyond it is a slip of the finger."""


@dataclass(frozen=True, slots=True)
class HillAsked:
    """A hill by grade and length, or a GPX track, and how it is met."""

    grade_pct: float | None
    length_m: float | None
    charge_pct: float | None
    temp_c: float | None
    speed_kmh: float | None
    extra_mass_kg: float
    track: str | None

    def checked(self) -> HillAhead:
        """The hill for the analysis.

        Raises
        ------
        UsageError : something is missing, given twice, or out of all range
        """
        faults = [
            f"{option} {value:g} {unit} is not between {low:g} and {high:g}"
            for option, name, low, high, unit in RANGES
            if (value := getattr(self, name)) is not None and not low <= value <= high
        ]
        if self.charge_pct is None:
            faults.append("--charge is missing: the pack's charge in % where the hill begins")
        if self.track is None and (self.grade_pct is None or self.length_m is None):
            faults.append("--grade and --length are missing, or --track F.gpx instead")
        if self.track is not None and (self.grade_pct, self.length_m) != (None, None):
            faults.append("--track stands instead of --grade and --length, not beside them")
        if faults:
            raise UsageError(
                where="predict",
                what="; ".join(faults),
                remedy="For example: hillproof predict --grade 9 --length 400 --charge 40.",
            )
        return self._hill()

    def _hill(self) -> HillAhead:
        from analyzer.hill_ahead import even_hill

        assert self.charge_pct is not None
        temp_c = USUAL_TEMP_C if self.temp_c is None else self.temp_c
        speed_mps = None if self.speed_kmh is None else self.speed_kmh / KMH
        if self.track is not None:
            return _track_hill(self.track, self.charge_pct, temp_c, speed_mps, self.extra_mass_kg)
        assert self.grade_pct is not None
        assert self.length_m is not None
        return even_hill(
            self.grade_pct, self.length_m, self.charge_pct, temp_c, speed_mps, self.extra_mass_kg
        )


def _track_hill(
    path: str, charge_pct: float, temp_c: float, speed_mps: float | None, extra_mass_kg: float
) -> HillAhead:
    """A GPX track as distance and height."""
    from pathlib import PurePath

    import numpy as np

    from analyzer.hill_ahead import HillAhead
    from analyzer.track_profile import track_profile
    from importers.gpx import read_track
    from importers.wgs84 import legs_m

    track = read_track(path)
    way = np.concatenate([[0.0], np.cumsum(legs_m(track.latitude_deg, track.longitude_deg))])
    good = np.isfinite(track.altitude_m) & np.isfinite(way)
    good &= np.concatenate([[True], np.diff(way) > 0])
    if good.sum() < 2 or way[good][-1] - way[good][0] < RANGES[1][2]:
        raise UsageError(
            where=path,
            what="the track holds no heights, or hardly any way",
            remedy="Export it with elevation, or give --grade and --length.",
        )
    distance_m, height_m = track_profile(way[good], track.altitude_m[good])
    return HillAhead(
        distance_m, height_m, charge_pct, temp_c, speed_mps, extra_mass_kg,
        start_altitude_m=float(height_m[0]), name=PurePath(path).stem,
    )  # fmt: skip
