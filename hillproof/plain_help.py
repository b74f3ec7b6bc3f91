"""Help in plain words: no names of types, a whole sentence for each command, an example."""

from __future__ import annotations

import re
from typing import Any

from typer.core import TyperCommand

TYPES = re.compile(r" <(?:list\[)?(?:str|int|float|bool)\]?>")


class PlainCommand(TyperCommand):
    """A command whose help names no types: what an argument is stands beside it."""

    def get_help(self, ctx: Any) -> str:
        """The help text, in columns as they were."""
        return TYPES.sub(lambda found: " " * len(found[0]), super().get_help(ctx))


def example(*lines: str) -> str:
    """One or more commands to copy, each on its own line."""
    return "\b\nFor example:\n" + "\n".join(f"  hillproof {one}" for one in lines)
