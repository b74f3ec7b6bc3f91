"""A rider: holds a speed, stops where the leg ends, lets go softly or hard.

Common practice, no source: a hand follows with about 0.25 s, a hard release takes 0.12 s.
"""

from dataclasses import dataclass, field

from probe.road import Road

HAND_S = 0.25
HARD_S = 0.04
WALK_OFF_S = 0.4


@dataclass
class Rider:
    """Demand from −1 (full braking) to 1, and how hard the mechanical brake is pulled."""

    road: Road
    stiffness: float = 0.8  # demand per m/s of missing speed
    motor_brake: float = 1.0  # the part of braking left to the motors, 0 to 1
    slow_mps2: float = 1.2  # how firmly it stops
    tremor: float = 0.02
    fixed: tuple[tuple[float, float, float], ...] = ()  # (from s, to s, demand) overrides
    leg: int = 0
    demand: float = 0.0
    mechanical_mps2: float = 0.0
    until_s: float = field(default=0.0)
    standing: bool = True

    def __post_init__(self) -> None:
        """Begin at rest."""
        self.until_s = self.road.start_rest_s

    def finished(self, t_s: float) -> bool:
        """Is the last rest over?"""
        return self.leg >= len(self.road.legs) and t_s > self.until_s

    def act(self, t_s: float, dt_s: float, x_m: float, v_mps: float, noise: float) -> None:
        """Look at the road, move hand and brake."""
        legs = self.road.legs
        if self.standing:
            self.demand, self.mechanical_mps2 = 0.0, 3.0
            if t_s >= self.until_s and self.leg < len(legs):
                self.standing = False
            return
        leg = legs[self.leg]
        left = self.road.edges[self.leg + 1] - x_m
        last = self.leg == len(legs) - 1
        stops = leg.stop_s > 0.0 or last
        if left <= 0.0 or (stops and v_mps < 0.25 and left < 3.0):
            self.leg += 1
            if stops:
                self.standing = True
                self.until_s = t_s + (self.road.end_rest_s if last else leg.stop_s)
                return
            leg = legs[self.leg]
            left = self.road.edges[self.leg + 1] - x_m
            stops = leg.stop_s > 0.0 or self.leg == len(legs) - 1
        target = leg.speed_mps
        if stops:
            target = min(target, max(2.0 * self.slow_mps2 * max(left - 1.0, 0.0), 0.16) ** 0.5)
        elif self.leg + 1 < len(legs) and legs[self.leg + 1].speed_mps < target:
            after = legs[self.leg + 1].speed_mps
            target = min(target, (after**2 + 2.0 * self.slow_mps2 * max(left, 0.0)) ** 0.5)
        want = self.stiffness * (target - v_mps) + 0.35 * min(target / max(leg.speed_mps, 1.0), 1.0)
        want += self.tremor * noise
        slow = HARD_S if leg.release == "hard" and want < 0.0 else HAND_S
        want = max(-1.0, min(1.0, want))
        if want < 0.0:
            want *= self.motor_brake
        self.demand += (want - self.demand) * min(dt_s / slow, 1.0)
        gap = v_mps - target
        pull = 0.0
        if stops and left < 60.0:
            pull = max(0.0, min(4.0, 2.5 * (gap - 0.25)))
        if gap > 1.5:
            pull = max(pull, min(4.0, 1.5 * (gap - 1.0)))
        self.mechanical_mps2 += (pull - self.mechanical_mps2) * min(dt_s / 0.2, 1.0)
        for a, b, value in self.fixed:
            if a <= t_s < b:
                self.demand += (value - self.demand) * min(dt_s / 0.05, 1.0)
                self.mechanical_mps2 = 0.0
