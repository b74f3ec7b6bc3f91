"""The console that the commands print on."""

from __future__ import annotations

import sys
from typing import NoReturn

from rich.console import Console


class PlainConsole(Console):
    """Colours on a terminal, plain text elsewhere; a reader that went away is told as the system
    tells it (rich's own way is to leave with 1)."""

    def on_broken_pipe(self) -> NoReturn:
        """The output's reader is gone: `cli.main` ends quietly."""
        raise BrokenPipeError


def console() -> PlainConsole:
    """A console on standard output."""
    return PlainConsole(highlight=False, soft_wrap=not sys.stdout.isatty())
