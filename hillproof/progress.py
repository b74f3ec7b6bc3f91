"""A progress bar on standard error that shows only when a job takes longer than a moment."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

PATIENCE_S = 1.5
"""A job shorter than this shows no bar [s]. Our choice."""

Step = Callable[[str, float], None]
"""Called with what is being done now and the part done so far, 0 to 1."""


def no_progress(_what: str, _done: float) -> None:
    """For callers who want none."""


@contextmanager
def progress_bar(quiet: bool) -> Iterator[Step]:
    """A bar that appears after `PATIENCE_S`, only on a terminal, and leaves no trace."""
    if quiet or not sys.stderr.isatty():
        yield no_progress
        return
    state: dict[str, Any] = {"what": "", "done": 0.0, "bar": None, "task": None}
    lock = threading.Lock()

    def show() -> None:
        from rich.console import Console
        from rich.progress import Progress

        bar = Progress(console=Console(stderr=True), transient=True)
        with lock:
            if state["bar"] == "over":
                return
            state["bar"] = bar
            state["task"] = bar.add_task(state["what"], total=1.0, completed=state["done"])
            bar.start()

    def step(what: str, done: float) -> None:
        with lock:
            state["what"], state["done"] = what, done
            if state["task"] is not None:
                state["bar"].update(state["task"], description=what, completed=done)

    timer = threading.Timer(PATIENCE_S, show)
    timer.daemon = True
    timer.start()
    try:
        yield step
    finally:
        timer.cancel()
        with lock:
            bar, state["bar"] = state["bar"], "over"
        if bar is not None:
            bar.stop()
