"""A battery management system: opens the pack's path after its delay, closes it again later."""

from dataclasses import dataclass

from probe.machine import Bms


@dataclass
class Guard:
    """Timers of one BMS; `open_for` names what opened it, None while closed."""

    spec: Bms
    over_s: float = 0.0
    charge_over_s: float = 0.0
    low_s: float = 0.0
    high_s: float = 0.0
    heat_a2: float = 0.0
    open_for: str | None = None
    opened_s: float = 0.0
    quiet_s: float = 0.0

    def step(
        self, t_s: float, dt_s: float, amps: float, cells_v: tuple[float, float], quiet: bool
    ) -> None:
        """One step on with this pack current and the lowest and highest cell."""
        b = self.spec
        if self.open_for is not None:
            self.quiet_s = self.quiet_s + dt_s if quiet else 0.0
            if self.quiet_s >= b.reopen_s:
                self.open_for = None
                self.over_s = self.charge_over_s = self.low_s = self.high_s = 0.0
                self.heat_a2 *= 0.5
            return
        self.heat_a2 += (amps * amps - self.heat_a2) * dt_s / b.heat_s
        over = b.discharge_trip_a is not None and amps > b.discharge_trip_a
        self.over_s = self.over_s + dt_s if over else 0.0
        into = b.charge_trip_a is not None and -amps > b.charge_trip_a
        self.charge_over_s = self.charge_over_s + dt_s if into else 0.0
        self.low_s = self.low_s + dt_s if b.cell_low_v and cells_v[0] < b.cell_low_v else 0.0
        self.high_s = self.high_s + dt_s if b.cell_high_v and cells_v[1] > b.cell_high_v else 0.0
        why = None
        if self.over_s >= b.discharge_trip_delay_s:
            why = "bms_overcurrent_discharge"
        elif self.charge_over_s >= b.charge_trip_delay_s:
            why = "bms_overcurrent_charge"
        elif self.low_s >= b.cell_delay_s:
            why = "cell_low_voltage"
        elif self.high_s >= b.cell_delay_s:
            why = "cell_high_voltage"
        elif b.heat_open_j is not None and self.heat_a2 > b.heat_open_j:
            why = "bms_overheat"
        if why:
            self.open_for, self.opened_s, self.quiet_s = why, t_s, 0.0
