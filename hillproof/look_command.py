"""`look`: what is in these files, on one screen, and the same as JSON, map or raw table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from hillproof import jobs
from hillproof.log_args import check_outputs, log_path, refuse_existing
from importers.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console


def run(
    logs: Sequence[str],
    *,
    setup: str | None,
    map_file: str | None,
    write_map: str | None,
    json: str | None,
    table: str | None,
    console: Console | None,
) -> None:
    """Print what the files hold and write what was asked for.

    Raises
    ------
    importers.errors.UserError : a file that is no table, or arguments that cannot be used
    """
    outputs = {"--write-map": write_map, "--json": json, "--table": table}
    inputs = [*map(log_path, logs), setup, map_file]
    if write_map is not None:
        refuse_existing(write_map)
    if table is not None and len(logs) > 1:
        raise UsageError(
            where="--table",
            what=f"it writes one file's raw table, and {len(logs)} files were named",
            remedy="Name one log at a time.",
        )
    check_outputs(outputs, inputs)
    contents: dict[str, str | bytes] = {}
    if table is not None:
        from importers.look import raw_table_csv

        contents[table] = raw_table_csv(log_path(logs[0]))
    sources = jobs.look(logs, setup, map_file=map_file)
    if json is not None:
        from reports.json_out import look_json

        contents[json] = look_json(sources)
    if write_map is not None:
        from importers.channel_map import map_text

        contents[write_map] = map_text(sources)
    from reports.write import write_outputs

    write_outputs(contents)
    if console is not None and "-" not in contents:
        from reports.terminal import print_look

        print_look(sources, console)
        for path in contents:
            console.print(f"Written: {path}", markup=False)
