"""One column's reading while it is being settled."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from importers.channels import channel_of
from importers.guess_name import NameGuess
from importers.guess_sign import SignGuess
from importers.guess_unit import UnitGuess
from importers.header_words import HeaderWords
from importers.raw_table import RawColumn

Floats = NDArray[np.float64]

SURE = 0.95
"""From here on a reading is called sure. The contract's."""
FOREIGN_SURE, UNREAD_SURE = 0.97, 0.9
"""Chance that it is right not to read a column: its words speak of another device or quantity;
or say nothing clear. Our choice."""
PLUS = SignGuess(1, 1.0)


@dataclass(slots=True)
class Guess:
    """One column's reading while it is being settled."""

    column: RawColumn
    words: HeaderWords
    drive: str | None
    side_sure: float
    name: NameGuess | None
    unit: UnitGuess = field(default_factory=lambda: UnitGuess("", 1.0, 0.0, 1.0))
    sign: SignGuess = PLUS
    why: str = ""
    rival: str = ""
    """The map line that reads another column as this channel, where one claims it."""
    unread_sure: float = FOREIGN_SURE
    """How sure it is that the column is none of ours, once it is not read."""
    sample: Floats = field(default_factory=lambda: np.zeros(0))
    """Values of the sampled rows in SI, sign not applied."""

    @property
    def key(self) -> tuple[str | None, str]:
        """What may be given once: the channel on that drive."""
        assert self.name is not None
        return self.drive, self.name.channel

    @property
    def sure(self) -> float:
        """The chance that name, unit, sign and side are all right."""
        if self.name is None:
            return self.unread_sure
        return self.name.chance * self.unit.chance * self.sign.chance * self.side_sure

    @property
    def settled(self) -> Floats:
        """The sample with its sign."""
        return self.sample * self.sign.sign

    def drop(self, why: str) -> None:
        """Read it as nothing of ours, which may be wrong."""
        if self.name is not None:
            self.unread_sure = min(UNREAD_SURE, 1.0 - self.sure / 2)
        self.name, self.why = None, why


def full(one: Guess) -> str:
    """The channel's name with the drive before it."""
    assert one.name is not None
    row = channel_of(one.name.channel)
    sided = one.drive is not None and row is not None and row.per_drive
    return f"{one.drive}.{one.name.channel}" if sided else one.name.channel
