"""One forward run of a build over a hill: speed, currents, voltage and heat, d draws at once.

Twice a second: what force the road asks for at the wished-for speed; what each controller allows
(phase limit, battery limit times the voltage derate, heat derate, voltage headroom); what the
motors give for it; what the pack's voltage does; what warms. Downhill the controllers brake as far
as their limits go and the mechanical brake takes the rest. The equations are those the parameters
were fitted with (`analyzer.drive_fit`, `road_load`, `heat`, `resistance`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.heat import TAUS_S as HEAT_TAUS_S
from analyzer.hill_ahead import HillAhead, HillRun, PerDraw
from analyzer.hill_build import BuildDraws
from analyzer.hill_drives import allowed_a, braking_a, overshot_a, shared_a
from analyzer.hill_pack import HillPack
from analyzer.quantities import Bools, Floats
from analyzer.road_force import GRAVITY_MPS2, air_density

STEP_S, SEARCH_STEP_S = 0.5, 1.0
"""Steps of a run, and of one that only asks whether power is reduced [s]. Our choice."""
LONGEST_S = 3600.0
"""A hill that takes longer is given up [s]. Our choice."""
AFTER_S = 120.0
"""How long the heat is followed beyond the top [s]. Issue 5: a winding peaks after it."""
COOL_STEP_S = 10.0
LEVEL_S = 30.0
"""So long on the level before the hill [s]. Our choice: what a pack's voltage mostly remembers."""
TURNING = 1.04
"""Effective over real mass. Common practice, no source."""
CLOSES_IN_S = 2.0
"""The rider closes a gap in speed over about this [s], gently. Our choice."""
GENTLE_MPS2 = 0.7
WAVERS_S = 0.5
"""Over which a rider's hand wavers [s]. Our choice: 1 s means of a hand that does not hunt hardly
depend on the second before."""
MOST_OFF = 0.2
"""Nobody rides further off the speed meant than this part of it [1]. Our choice."""
CRAWL_MPS = 1.0
"""Slower than this, and not gaining, it does not get up [m/s]. Our choice: below walking pace."""


@dataclass(slots=True, eq=False)
class _State:
    """What moves from step to step."""

    at_m: Floats
    speed: Floats
    heat: Floats
    """(heated parts, paths, d)"""
    running: Bools


def simulate_hill(
    build: BuildDraws, hill: HillAhead, each: PerDraw | None = None, *, whole: bool = True
) -> HillRun:
    """Rides the hill once per draw; with `whole` false a draw ends where its power is reduced."""
    return _Ride(build, hill, each, whole).run()


class _Ride:
    """One hill, all draws; holds what does not change within the run."""

    def __init__(
        self, build: BuildDraws, hill: HillAhead, each: PerDraw | None, whole: bool
    ) -> None:
        self.b, self.hill, self.whole = build, hill, whole
        self.step = STEP_S if whole else SEARCH_STEP_S
        d, n = build.draws, len(build.drives)
        self.density = float(air_density(hill.start_altitude_m, hill.temp_c))
        if each is None:
            full = np.ones(d)
            each = PerDraw(full * hill.charge_pct, full * hill.temp_c, full)
        self.each = each
        self.rise = np.diff(hill.height_m) / np.maximum(np.diff(hill.distance_m), 1e-9)
        self.rng = np.random.default_rng(build.seed)
        self.waver = np.zeros(d)
        self.keep = float(np.exp(-self.step / WAVERS_S))
        # so much more in one step that the mean of those of a second wavers as said
        apart = np.subtract.outer(*[np.arange(round(1.0 / self.step))] * 2)
        self.more = float(np.mean(self.keep ** np.abs(apart))) ** -0.5
        self.felt: Floats | None = None
        self.pack = HillPack(build, each, self.step)
        self.cool = np.exp(-self.step / np.array(HEAT_TAUS_S))
        rest = self.pack.rest_v()
        self.wished: Floats | None = None
        if hill.speed_mps is not None:
            off = np.clip(build.off_pace_mps, -MOST_OFF * hill.speed_mps, MOST_OFF * hill.speed_mps)
            self.wished = hill.speed_mps + off
        self.s = _State(
            np.full(d, float(hill.distance_m[0])),
            np.full(d, 5.0) if self.wished is None else self.wished.copy(),
            np.zeros((len(build.heat), len(HEAT_TAUS_S), d)),
            np.ones(d, bool),
        )
        nan, zero = np.full(d, np.nan), np.zeros(d)
        self.out = HillRun(
            np.zeros(d, bool), nan.copy(), zero.copy(), zero.copy(), zero.copy(), zero.copy(),
            np.full(d, np.inf), np.full(d, -np.inf), rest.copy(), rest.copy(), zero.copy(),
            np.zeros((n, d)), np.zeros((n, d)), np.zeros((n, d)), np.zeros((n, d)),
            np.tile(each.temp_c, (n, 1)), np.tile(each.temp_c, (n, 1)),
            np.full((n, d), np.nan), zero.copy(), zero.copy(),
        )  # fmt: skip

    def run(self) -> HillRun:
        """Steps until every draw is over the top, or has stopped on the hill."""
        self._come_along()
        seconds = 0.0
        before: tuple[Floats, ...] | None = None
        while seconds < LONGEST_S and bool(self.s.running.any()):
            now = self._step()
            if before is not None and self.whole:
                self._watch(before, now)
            before = now
            seconds += self.step
            self.out.time_s[self.s.running] = seconds
        if self.whole:
            self._ends(self.s.running)
            self._cool_down()
            self._overshoot()
        rest = self.pack.rest_v()
        for extreme in (self.out.lowest_v, self.out.highest_v):  # a hill of one step has no mean
            extreme[~np.isfinite(extreme)] = rest[~np.isfinite(extreme)]
        return self.out

    # ------------------------------------------------------------- one step

    def _come_along(self) -> None:
        """Nobody begins a hill rested: the pack comes to its foot as it is after half a minute on
        the level at the speed asked for. Charge and warmth are those of the foot."""
        if self.hill.speed_mps is None:
            return
        for _ in range(round(LEVEL_S / self.step)):
            _, watts, _, _ = self._drives(self._resistance_n(level=True))
            self.pack.draw(watts.sum(axis=0), self.s.running)
        self.pack.drawn_ah[:] = 0.0
        self.pack.warmed_k[:] = 0.0

    def _step(self) -> tuple[Floats, ...]:
        s = self.s
        need = self._force_asked()
        phase, watts, force, held = self._drives(need)
        amps = self.pack.draw(watts.sum(axis=0), s.running)
        each = watts / np.maximum(self.pack.volts, 1.0)
        mechanical = np.clip(force - need, 0.0, None) * (need < 0) * s.speed
        self._move(force - np.clip(force - need, 0.0, None) * (need < 0))
        self._warm(phase)
        self._note_reduced(held)
        live = s.running
        self.out.mechanical_j[live] += mechanical[live] * self.step
        return amps, self.pack.volts, each, phase, mechanical, self.pack.rest_v()

    def _drives(self, need: Floats) -> tuple[Floats, Floats, Floats, Bools]:
        """What the controllers give of a force: each motor's current, its power, all force
        together, and whether voltage or heat holds back what is fully asked for."""
        s, b, volts = self.s, self.b, self.pack.volts
        temps = self._temps()
        allowed, faded = allowed_a(b, volts, s.speed, temps["motor"], temps["controller"])
        most_n = (b.efficiency * b.k_n_per_a * allowed).sum(axis=0)
        drive = np.clip(need, 0.0, None)
        part = np.where(most_n > 0, np.minimum(drive / np.maximum(most_n, 1e-9), 1.0), 0.0)
        phase = shared_a(b, allowed, drive)
        braking = braking_a(b, volts, s.speed, np.clip(-need, 0.0, None))
        phase = np.where(need[None, :] >= 0, phase, -braking)
        geared = np.where(phase >= 0, b.efficiency, b.return_factor)
        force = (geared * b.k_n_per_a * phase).sum(axis=0)
        watts = (b.k_n_per_a * s.speed + b.ohm * np.abs(phase) * np.sign(phase)) * phase
        watts += b.drop_v * np.abs(phase)
        return phase, watts, force, faded & (part >= 0.999) & (need > 0)

    def _grade(self) -> Floats:
        ahead = self.hill
        at = np.clip(self.s.at_m, ahead.distance_m[0], ahead.distance_m[-1] - 1e-6)
        cell = np.searchsorted(ahead.distance_m, at, "right") - 1
        return np.asarray(self.rise[cell] * self.each.steeper, np.float64)

    def _resistance_n(self, *, level: bool = False) -> Floats:
        b, s = self.b, self.s
        tangent = np.zeros(b.draws) if level else self._grade()
        cosine = 1.0 / np.sqrt(1.0 + tangent**2)
        weight = b.mass_kg * GRAVITY_MPS2
        air = 0.5 * self.density * b.drag_m2 * s.speed**2
        return np.asarray(weight * cosine * (tangent + b.rolling) + air, np.float64)

    def _force_asked(self) -> Floats:
        resist = self._resistance_n()
        if self.wished is None:
            uphill = resist > 0
            return np.where(uphill, 1e6, resist)  # downhill the speed is held
        gap = (self.wished - self.s.speed) / CLOSES_IN_S
        push = np.clip(gap, -GENTLE_MPS2, GENTLE_MPS2) * self.b.mass_kg * TURNING
        fresh = self.rng.standard_normal(self.b.draws) * np.sqrt(1.0 - self.keep**2)
        self.waver = self.keep * self.waver + self.more * self.b.unsteady_n * fresh
        return np.asarray(self._felt_n(resist) + push + self.waver, np.float64)

    def _felt_n(self, resist: Floats) -> Floats:
        """What the hand answers of what the road asks, over this step: it comes late, and a foot
        of a hill is first met with what held the speed on the level."""
        late = np.maximum(self.b.answers_s, 1e-6)
        left = np.exp(-self.step / late)
        before = self._resistance_n(level=True) if self.felt is None else self.felt
        self.felt = resist - (resist - before) * left
        mean: Floats = resist - (resist - before) * (1.0 - left) * late / self.step
        return mean

    def _move(self, force: Floats) -> None:
        b, s = self.b, self.s
        push = (force - self._resistance_n()) / (b.mass_kg * TURNING)
        speed = np.clip(s.speed + push * self.step, 0.0, 60.0)
        s.at_m = s.at_m + np.where(s.running, 0.5 * (s.speed + speed) * self.step, 0.0)
        s.speed = np.where(s.running, speed, s.speed)
        over = s.running & (s.at_m >= self.hill.distance_m[-1])
        self.out.reached[over] = True
        stuck = s.running & (speed < CRAWL_MPS) & (push <= 0.02)
        fresh = stuck & np.isnan(self.out.reduced_at_m)
        self.out.reduced_at_m[fresh] = s.at_m[fresh]
        self.out.speed_top_mps[over] = speed[over]
        self._ends(over | stuck)
        s.running = s.running & ~over & ~stuck

    # ------------------------------------------------------------- heat

    def _temps(self) -> dict[str, Floats]:
        out = {
            "motor": np.full((len(self.b.drives), self.b.draws), np.nan),
            "controller": np.full((len(self.b.drives), self.b.draws), np.nan),
        }
        names = self.b.setup.drive_names
        for row, (drive, part, _, _) in enumerate(self.b.heat):
            out[part][names.index(drive)] = self.each.temp_c + self.s.heat[row].sum(axis=0)
        return out

    def _warm(self, phase: Floats) -> None:
        b, names = self.b, self.b.setup.drive_names
        for row, (drive, _, fit, scale) in enumerate(b.heat):
            j = names.index(drive)
            if fit.driver == "phase_a2":
                load = fit.load(phase[j], self.s.speed)
            elif b.known_phase:
                load = b.ohm[j] * phase[j] ** 2
            else:  # a tenth of the power, as the default losses have it
                load = 0.1 * np.abs(phase[j]) * self.s.speed
            aim = fit.gain[:, None] * scale * load
            state = self.s.heat[row]
            moved = self.cool[:, None] * state + (1 - self.cool[:, None]) * aim
            self.s.heat[row] = np.where(self.s.running, moved, state)
        self._hottest()

    def _ends(self, which: Bools) -> None:
        """Notes how warm the motors are where these draws end."""
        self.out.motor_at_top_c[:, which] = self._temps()["motor"][:, which]

    def _hottest(self) -> None:
        temps = self._temps()
        self.out.motor_top_c[:] = np.fmax(self.out.motor_top_c, temps["motor"])
        self.out.controller_top_c[:] = np.fmax(self.out.controller_top_c, temps["controller"])

    def _cool_down(self) -> None:
        """Beyond the top: the inner paths hand their heat on; the load is gone."""
        long = self.cool ** (COOL_STEP_S / self.step)
        for _ in range(int(AFTER_S / COOL_STEP_S)):
            self.s.heat *= long[None, :, None]
            self._hottest()

    # ------------------------------------------------------------- extremes

    def _overshoot(self) -> None:
        out = self.out
        for each, both, braking in (
            (out.battery_peak_a, out.pack_peak_a, False),
            (out.battery_brake_peak_a, out.pack_brake_peak_a, True),
        ):
            more = overshot_a(self.b, each, braking=braking)
            each += more
            both += more.sum(axis=0)

    def _note_reduced(self, held: Bools) -> None:
        s = self.s
        b = self.b.setup.bms
        fresh = s.running & held & np.isnan(self.out.reduced_at_m)
        if b.discharge_trip_a is not None:
            tripped = s.running & (self.pack.lag_a[1] > b.discharge_trip_a)
            fresh |= tripped & np.isnan(self.out.reduced_at_m)
        self.out.reduced_at_m[fresh] = s.at_m[fresh] - float(self.hill.distance_m[0])
        if not self.whole:
            s.running = s.running & np.isnan(self.out.reduced_at_m)

    def _watch(self, before: tuple[Floats, ...], now: tuple[Floats, ...]) -> None:
        amps, volts, each, phase = (0.5 * (a + b) for a, b in zip(before[:4], now[:4], strict=True))
        out = self.out
        np.maximum(out.pack_peak_a, amps, out=out.pack_peak_a)
        np.maximum(out.pack_brake_peak_a, -amps, out=out.pack_brake_peak_a)
        lower, higher = volts < out.lowest_v, volts > out.highest_v
        out.rest_low_v[lower], out.rest_high_v[higher] = now[5][lower], now[5][higher]
        np.minimum(out.lowest_v, volts, out=out.lowest_v)
        np.maximum(out.highest_v, volts, out=out.highest_v)
        np.maximum(out.battery_peak_a, each, out=out.battery_peak_a)
        np.maximum(out.battery_brake_peak_a, -each, out=out.battery_brake_peak_a)
        np.maximum(out.phase_peak_a, phase, out=out.phase_peak_a)
        np.maximum(out.phase_brake_peak_a, -phase, out=out.phase_brake_peak_a)
        np.maximum(out.mechanical_peak_w, now[4], out=out.mechanical_peak_w)
        out.charge_used_ah[:] = self.pack.drawn_ah
