"""`setup new` and `setup check`: asking, writing and printing; the judging is the analyzer's."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import typer

from hillproof import jobs
from hillproof.log_args import check_outputs, choose_setup, refuse_existing
from importers.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from importers.setup_new import Question


def new(file: str, *, ask: bool, quiet: bool) -> None:
    """Write a commented setup file; with `ask`, filled with what the rider answers.

    Raises
    ------
    importers.errors.UserError : the file is there already or cannot be written
    """
    from importers.setup_new import QUESTIONS, answers_fault, new_setup_text
    from reports.write import write_outputs

    refuse_existing(file)
    check_outputs({"FILE": file}, [])
    answers: dict[str, str] = {}
    if ask:
        typer.echo("Enter leaves a value out: what is not given is not checked.", err=True)
        for question in QUESTIONS:
            answer = _ask(question)
            if not answer:
                continue
            together = answers_fault({**answers, question.key: answer})
            if together is not None:
                typer.echo(f"  {together} Left out.", err=True)
                continue
            answers[question.key] = answer
    write_outputs({file: new_setup_text(answers)})
    if not quiet and file != "-":
        typer.echo(f"Written: {file}\nFill it in, then: hillproof setup check {file}")


def _ask(question: Question) -> str:
    """One answer that the question accepts, or nothing.

    Raises
    ------
    importers.errors.UsageError : the answers ended (Ctrl-D, Ctrl-C, a pipe that is too short)
    """
    while True:
        unit = f" [{question.unit}]" if question.unit else ""
        try:
            answer: str = typer.prompt(
                f"{question.text}{unit}", default="", show_default=False, err=True
            )
        except typer.Abort as end:
            raise UsageError(
                where="--ask",
                what="the answers ended before the last question, and nothing is written",
                remedy="Press Enter to leave a value out.",
            ) from end
        fault = question.check(answer.strip()) if answer.strip() else None
        if fault is None:
            return answer.strip()
        typer.echo(f"  {fault}", err=True)


def check(
    setup: str | None,
    rides: Sequence[str] = (),
    *,
    book: str | None = None,
    report: str | None,
    json: str | None,
    console: Console | None,
) -> list[str]:
    """Judge a setup, print and write the findings; the severities found.

    Raises
    ------
    importers.errors.UserError : the setup cannot be used, or an output not written
    """
    choice = choose_setup(setup, [])
    assert choice.path is not None
    check_outputs({"--report": report, "--json": json}, [choice.path, *rides])
    build, result = jobs.check_setup(choice.path, rides, book)
    contents: dict[str, str | bytes] = {}
    if json is not None:
        from reports.setup_json import setup_json

        contents[json] = setup_json(result)
    if report is not None:
        from reports.page import setup_page

        contents[report] = setup_page(result, build)
    from reports.write import write_outputs

    write_outputs(contents)
    if console is not None and "-" not in contents:
        from reports.setup_view import print_setup_check

        if choice.found:
            console.print(choice.sentence, markup=False)
        print_setup_check(result, build, console)
    return [str(one.severity) for one in result.findings]
