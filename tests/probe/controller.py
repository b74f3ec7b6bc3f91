"""One controller and its motor for one step: demand in, battery current and force out.

The motor is the textbook's direct-current equivalent (Hughes, Electric Motors and Drives, 5th
ed., ch. 3): back-EMF kω, torque k·i, copper loss R·i². Limits are enforced where they act: on
phase current, on battery current (scaled down between derate and stop voltage and between
derate and stop temperature), and by the voltage there is (duty at most 0.95).
"""

from dataclasses import dataclass
from math import sqrt

from probe.machine import Drive

TOP_DUTY = 0.95
PHASE_LAG_S = 0.05
BRAKE_FADE_MPS = 1.2


def _band(value: float, start: float | None, end: float | None) -> float:
    """1 before `start`, 0 from `end` on, straight between; None is never."""
    if start is None and end is None:
        return 1.0
    if end is None:
        end = start + 15.0 if start is not None else 0.0
    if start is None:
        return 1.0 if value < end else 0.0
    if start == end:
        return 1.0 if value < end else 0.0
    return min(1.0, max(0.0, (end - value) / (end - start)))


@dataclass
class Side:
    """State of one controller with its motor."""

    spec: Drive
    phase_a: float = 0.0
    motor_c: float = 20.0
    controller_c: float = 20.0
    seen_v: float = 60.0
    stopped_until_s: float = -1.0  # braking, after overvoltage
    hot_until_s: float = -1.0  # driving, after a temperature stop
    duty: float = 0.0
    battery_w: float = 0.0
    torque_nm: float = 0.0
    governs: str = "rider"

    def wanted_phase(
        self, demand: float, bus_v: float, omega: float, v_mps: float, hear_c: tuple[float, float]
    ) -> tuple[float, str]:
        """The phase current the controller aims at, and what governs it."""
        d = self.spec
        emf = d.torque_nm_per_a * omega
        if demand >= 0.0:
            want, by = demand * d.phase_drive_a, "rider"
            if demand > 0.98:
                by = "phase_limit"
            factor, why = 1.0, "battery_limit"
            volt = 1.0
            if d.stop_at_v is not None:
                volt = _band(-self.seen_v, -(d.derate_from_v or d.stop_at_v), -d.stop_at_v)
            ctl = _band(hear_c[0], d.controller_derate_c, d.controller_stop_c)
            mot = _band(hear_c[1], d.motor_derate_c, d.motor_stop_c)
            for part, name in (
                (volt, "voltage_derate"),
                (ctl, "controller_heat_derate"),
                (mot, "motor_heat_derate"),
            ):
                if part < factor:
                    factor, why = part, name
            watt = bus_v * d.battery_drive_a * factor - d.idle_w
            most = (-emf + sqrt(max(emf * emf + 4.0 * d.motor_ohm * max(watt, 0.0), 0.0))) / (
                2.0 * d.motor_ohm
            )
            most = min(most, d.phase_drive_a * max(min(ctl, mot, 1.0), 0.0))
            if want > most:
                want, by = most, why
            room = max((TOP_DUTY * bus_v - emf) / d.motor_ohm, 0.0)
            if want > room:
                want, by = room, "no_voltage_headroom"
            return want, by
        want = demand * d.phase_brake_a * min(1.0, max(0.0, (v_mps - 0.3) / BRAKE_FADE_MPS))
        by = "rider" if demand > -0.98 else "phase_limit"
        fade, why = 1.0, "battery_limit"
        if d.brake_fade_v is not None and d.overvoltage_v is not None:
            fade = _band(self.seen_v, d.overvoltage_v - d.brake_fade_v, d.overvoltage_v)
            why = "battery_limit" if fade >= 1.0 else "brake_fade"
        watt = bus_v * d.battery_brake_a * fade + d.idle_w
        root = emf * emf - 4.0 * d.motor_ohm * watt
        if root > 0.0:
            most = (emf - sqrt(root)) / (2.0 * d.motor_ohm)
            if -want > most:
                want, by = -most, why
        return want, by

    def step(self, want: float, bus_v: float, omega: float, dt_s: float) -> None:
        """Let the phase current follow, with what that draws and turns."""
        d = self.spec
        self.phase_a += (want - self.phase_a) * min(dt_s / PHASE_LAG_S, 1.0)
        emf = d.torque_nm_per_a * omega
        self.battery_w = emf * self.phase_a + d.motor_ohm * self.phase_a**2 + d.idle_w
        # what the no-load current costs is torque that never leaves the motor
        drag = d.no_load_a * min(1.0, omega / 20.0)
        self.torque_nm = d.torque_nm_per_a * (self.phase_a - drag)
        self.duty = min(max((emf + d.motor_ohm * self.phase_a) / max(bus_v, 1.0), 0.0), 1.0)
        self.seen_v += (bus_v - self.seen_v) * min(dt_s / 0.1, 1.0)

    def warm(self, air_c: float, dt_s: float) -> None:
        """Heat of one step, one mass each."""
        d = self.spec
        loss = d.motor_ohm * self.phase_a**2 + 0.03 * abs(self.battery_w)
        self.motor_c += dt_s / d.motor_j_per_k * (loss - (self.motor_c - air_c) / d.motor_k_per_w)
        heat = 0.012 * self.phase_a**2 + d.idle_w
        self.controller_c += (
            dt_s
            / d.controller_j_per_k
            * (heat - (self.controller_c - air_c) / d.controller_k_per_w)
        )
