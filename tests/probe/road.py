"""The way ridden: height over distance, how fast, and where it stops.

Our own shapes, no source: straight ramps joined by short parabolas, as roads are built.
"""

from dataclasses import dataclass, field

import numpy as np


@dataclass
class Leg:
    """A stretch of road: so long, so steep, ridden at so many m/s; then perhaps a stop."""

    length_m: float
    grade_pct: float
    speed_mps: float
    stop_s: float = 0.0
    release: str = "soft"  # how the rider lets go before the stop: soft | hard


@dataclass
class Road:
    """Legs in a row; `height` and `grade` are smooth over `blend_m`."""

    legs: list[Leg]
    start_rest_s: float = 8.0
    end_rest_s: float = 10.0
    blend_m: float = 15.0
    edges: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        """Tabulate grade and height each metre."""
        self.edges = np.cumsum([0.0] + [leg.length_m for leg in self.legs])
        self.x = np.arange(-5.0, self.edges[-1] + 60.0, 1.0)
        raw = np.zeros_like(self.x)
        for leg, a, b in zip(self.legs, self.edges, self.edges[1:], strict=False):
            raw[(self.x >= a) & (self.x < b)] = leg.grade_pct / 100.0
        width = max(int(self.blend_m), 1)
        self.slope = np.convolve(raw, np.ones(width) / width, "same")
        self.height = 120.0 + np.concatenate([[0.0], np.cumsum(self.slope[:-1])])

    def height_at(self, x_m: np.ndarray) -> np.ndarray:
        """Height in metres at distances along the road."""
        return np.interp(x_m, self.x, self.height)

    def climbs(self) -> list[tuple[float, float, float]]:
        """The contract's climbs: (from m, to m, gain m); gain 10 m, no dip over 2 m, mean 2 %."""
        h, found, low, top = self.height, [], 0, 0
        for j in range(1, len(h) + 1):
            dipped = j == len(h) or h[top] - h[j] > 2.0
            if dipped:
                a, b = low, top
                # its ends are where the road begins and ceases to rise, not the flat beside it
                while a < b and h[a + 1] - h[a] < 2e-3:
                    a += 1
                while b > a and h[b] - h[b - 1] < 2e-3:
                    b -= 1
                if h[b] - h[a] >= 10.0 and (h[b] - h[a]) / (b - a) >= 0.02:
                    found.append((float(self.x[a]), float(self.x[b]), float(h[b] - h[a])))
                low = top = min(j, len(h) - 1)
            elif h[j] > h[top]:
                top = j
            elif h[j] <= h[low]:
                low = top = j
        return found
