"""The command line: parse, call one job, print. Nothing heavy is imported before it is needed.

Exit status: 0 the job was done; 1 only with --strict; 2 the input, setup or arguments cannot be
used; 70 a fault of ours.
"""

from __future__ import annotations

import errno
import gc
import os
import sys
from contextlib import suppress
from typing import NoReturn

import typer

from hillproof.book_command import ageing_app, book_app
from hillproof.faults import TRACEBACK_VARIABLE, told
from hillproof.hill_app import hill_app
from hillproof.plain_output import speak_plainly
from hillproof.ride_app import ride_app
from hillproof.setup_app import setup_app
from importers.errors import UserError

EXIT_UNUSABLE, EXIT_OUR_FAULT, EXIT_INTERRUPTED = 2, 70, 130
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
"""What the system says of an output with no room for more."""
COLLECT_EVERY = 1_000_000
"""Objects made between two searches for dead cycles. Imports make hundreds of thousands that stay;
at Python's default, searching them takes a tenth of a second from each command. Our choice."""

app = typer.Typer(
    name="hillproof",
    help="Why did it cut out, do the limits hold, how has the pack aged: from your ride logs.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.add_typer(ride_app)
app.add_typer(setup_app, name="setup")
app.add_typer(hill_app)
app.add_typer(book_app, name="book")
app.add_typer(ageing_app)


def _fault_of_ours(fault: Exception) -> NoReturn:
    if os.environ.get(TRACEBACK_VARIABLE):
        import traceback

        traceback.print_exception(fault)
    typer.echo(
        f"hillproof failed, and it is not your fault: {told(fault)}. "
        f"Run it again with {TRACEBACK_VARIABLE}=1 to see where, and report that.",
        err=True,
    )
    sys.exit(EXIT_OUR_FAULT)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit status.

    A reader that has seen enough (`| head`) is no fault: 0, as for any job that was done; 1 would
    be taken for an answer to --strict.
    """
    stdout = sys.stdout
    speak_plainly()
    try:
        try:
            app(arguments)
        finally:
            sys.stdout.flush()  # a full disk may show here only
    except SystemExit as end:
        if sys.stdout is not stdout:  # typer silences an output whose reader has gone, and says 1
            sys.exit(0)
        if end.code == EXIT_INTERRUPTED:  # Ctrl-C, which typer ends without a word
            typer.echo("stopped", err=True)
        raise
    except UserError as error:
        typer.echo(str(error), err=True)
        sys.exit(EXIT_UNUSABLE)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as fault:
        if fault.errno not in FULL:
            _fault_of_ours(fault)
        what = f"the output could not be written whole ({fault.strerror})"
        typer.echo(f"standard output: {what}. Make room, or send it elsewhere.", err=True)
        sys.exit(EXIT_UNUSABLE)
    except KeyboardInterrupt:
        typer.echo("stopped", err=True)
        sys.exit(EXIT_INTERRUPTED)
    except Exception as fault:
        _fault_of_ours(fault)


def run() -> None:
    """Run the command line as a process of its own and end it at once.

    Python would take a quarter of a second to take large tables apart piece by piece before it
    ends; the system takes the memory back whole.
    """
    gc.set_threshold(COLLECT_EVERY)
    # Our matrices are small: threads that wait for one another cost more than they give.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    status: int | str | None = 0
    try:
        main()
    except SystemExit as end:
        status = end.code
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):  # its reader may be gone
            stream.flush()
    os._exit(status if isinstance(status, int) else 0 if status is None else EXIT_OUR_FAULT)
