"""Options that several commands share, each said once."""

from __future__ import annotations

from typing import Annotated

import typer

Logs = Annotated[
    list[str],
    typer.Argument(
        metavar="LOG", help="Log files; left=FILE, gps=FILE or bms=FILE says what one holds."
    ),
]
BookFolder = Annotated[
    str | None, typer.Option("--book", metavar="DIR", help="A book whose rides count, too.")
]
Rides = Annotated[
    list[str] | None,
    typer.Argument(metavar="RIDE", help="Ride files of this build, or names in a book."),
]
SetupFile = Annotated[
    str | None,
    typer.Option("--setup", metavar="FILE", help="Your setup; else setup.toml beside the logs."),
]
MapFile = Annotated[
    str | None, typer.Option("--map", metavar="FILE", help="A map that says what each column is.")
]
Mass = Annotated[
    float | None,
    typer.Option("--mass", metavar="KG", help="Vehicle, rider and load on this day."),
]
Temp = Annotated[
    float | None, typer.Option("--temp", metavar="C", help="Pack temperature at the start.")
]
RideNote = Annotated[
    str | None, typer.Option("--note", metavar="TEXT", help="A note kept with the ride.")
]
Start = Annotated[
    str | None,
    typer.Option("--start", metavar="TIME", help="2031-05-04T09:12, for a log without a date."),
]
Report = Annotated[
    str | None, typer.Option("--report", metavar="F.html", help="Write the report here.")
]
Json = Annotated[
    str | None, typer.Option("--json", metavar="F.json", help="Write the numbers here; - prints.")
]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print errors only.")]
Strict = Annotated[
    bool, typer.Option("--strict", help="Exit status 1 when something must be acted on.")
]
OpenReport = Annotated[bool, typer.Option("--open", help="Show the report in the browser.")]
