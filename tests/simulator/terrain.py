"""The road: grade and bend against distance, and where it runs on the map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

DS_M = 2.0
"""Spacing of the road's points [m]."""
M_PER_DEG = 111_194.9
"""Metres per degree on the mean sphere (6 371 008.8 m · pi / 180)."""


@dataclass(frozen=True)
class Terrain:
    """Grade (rise over run) and bend (1/radius, left positive) every `DS_M` metres."""

    grade: np.ndarray
    bend: np.ndarray
    start_altitude_m: float = 240.0
    latitude_deg: float = 46.62
    longitude_deg: float = 9.31
    heading_rad: float = 0.6

    @property
    def length_m(self) -> float:
        return (self.grade.size - 2) * DS_M

    @property
    def at_m(self) -> np.ndarray:
        return np.arange(self.grade.size) * DS_M

    @property
    def altitude_m(self) -> np.ndarray:
        rise = np.concatenate([[0.0], np.cumsum(0.5 * (self.grade[1:] + self.grade[:-1]) * DS_M)])
        return self.start_altitude_m + rise / np.sqrt(1 + np.mean(self.grade**2))

    @property
    def course_rad(self) -> np.ndarray:
        """Clockwise from north."""
        turned = np.concatenate([[0.0], np.cumsum(self.bend[:-1] * DS_M)])
        return self.heading_rad - turned

    @property
    def latlon_deg(self) -> tuple[np.ndarray, np.ndarray]:
        course = self.course_rad
        north = np.concatenate([[0.0], np.cumsum(np.cos(course[:-1]) * DS_M)])
        east = np.concatenate([[0.0], np.cumsum(np.sin(course[:-1]) * DS_M)])
        lat = self.latitude_deg + north / M_PER_DEG
        lon = self.longitude_deg + east / (M_PER_DEG * np.cos(np.radians(self.latitude_deg)))
        return lat, lon

    def reversed(self) -> Terrain:
        """The same road back."""
        from dataclasses import replace

        return replace(self, grade=-self.grade[::-1], bend=-self.bend[::-1])


def from_pieces(
    pieces: list[tuple[float, float]], bends: np.ndarray | None = None, **place: float
) -> Terrain:
    """A road from (length m, grade %) pieces, the joints rounded over about 24 m."""
    steps = [np.full(max(round(m / DS_M), 1), pct / 100.0) for m, pct in pieces]
    raw = np.concatenate([*steps, steps[-1][-1:], steps[-1][-1:]])
    width = 13
    soft = np.convolve(
        np.pad(raw, width // 2, mode="edge"), np.hanning(width) / np.hanning(width).sum(), "valid"
    )
    bend = np.zeros(soft.size) if bends is None else np.resize(bends, soft.size)
    return Terrain(grade=soft, bend=bend, **place)  # type: ignore[arg-type]


def winding(size: int, rng: np.random.Generator, tightest_m: float = 18.0) -> np.ndarray:
    """Bends of a country road: straights and corners of either hand."""
    bend = np.zeros(size)
    at = 0
    while at < size:
        at += int(rng.uniform(40, 220) / DS_M)
        angle = rng.uniform(0.2, 1.5) * rng.choice([-1.0, 1.0])
        radius = tightest_m * rng.uniform(1.0, 6.0)
        count = max(int(abs(angle) * radius / DS_M), 2)
        shape = np.hanning(count + 2)[1:-1]
        bend[at : at + count] += (angle / (shape.sum() * DS_M) * shape)[: max(size - at, 0)][:count]
        at += count
    return bend


def flat(length_m: float, *, seed: int = 0, bends: bool = True, roll_pct: float = 0.3) -> Terrain:
    """Flat ground with the small swell that flat ground has."""
    rng = np.random.default_rng(seed)
    size = int(length_m / DS_M) + 2
    s = np.arange(size) * DS_M
    grade = np.zeros(size)
    for _ in range(3):
        wave = rng.uniform(150, 600)
        grade += roll_pct / 100 / 3 * np.sin(2 * np.pi * (s / wave + rng.random()))
    return Terrain(grade=grade, bend=winding(size, rng) if bends else np.zeros(size))


def hilly(
    length_m: float,
    *,
    seed: int = 0,
    steepest_pct: float = 9.0,
    hills: int | None = None,
    bends: bool = True,
) -> Terrain:
    """Hills of random length and steepness, up and down in random order, ending near level."""
    rng = np.random.default_rng(seed)
    pieces: list[tuple[float, float]] = [(rng.uniform(120, 260), rng.uniform(-0.4, 0.4))]
    count = hills or max(int(length_m / 900), 1)
    room = length_m / count
    for _ in range(count):
        grade = rng.uniform(0.35, 1.0) * steepest_pct
        up = rng.uniform(0.25, 0.4) * room
        flat_m = rng.uniform(0.12, 0.25) * room
        down_grade = grade * rng.uniform(0.6, 1.1)
        down = up * grade / down_grade
        parts = [(up * 0.4, grade * rng.uniform(0.7, 1.0)), (up * 0.6, grade)]
        pieces += [*parts, (flat_m, rng.uniform(-0.5, 0.5)), (down, -down_grade)]
        pieces.append((max(room - up - down - flat_m, 60.0), rng.uniform(-0.5, 0.5)))
    road = from_pieces(pieces)
    bend = winding(road.grade.size, rng) if bends else road.bend
    lat = 46.2 + rng.random()
    return Terrain(grade=road.grade, bend=bend, latitude_deg=lat, longitude_deg=8.7 + rng.random())
