"""What can be made to go wrong, as the run's loop asks for it.

A `Trouble` names the contract's cause, the drive it hits (none: all), when, for how long and,
where one matters, how hard. What follows from physics or a limit alone needs none.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Trouble:
    """One fault that is put into a ride."""

    kind: str
    at_s: float
    lasts_s: float = 2.0
    drive: str | None = None
    value: float = 0.0

    def on(self, t_s: float, drive: str | None = None) -> bool:
        """Is it there now, and on this drive?"""
        here = self.drive is None or drive is None or self.drive == drive
        return here and self.at_s <= t_s < self.at_s + self.lasts_s


class Troubles:
    """All of a ride, asked for by kind."""

    def __init__(self, faults: tuple[Trouble, ...]) -> None:
        self.by_kind: dict[str, list[Trouble]] = {}
        for fault in faults:
            self.by_kind.setdefault(fault.kind, []).append(fault)

    def now(self, kind: str, t_s: float, drive: str | None = None) -> Trouble | None:
        """The fault of this kind that is there now, or None."""
        for fault in self.by_kind.get(kind, ()):
            if fault.on(t_s, drive):
                return fault
        return None
