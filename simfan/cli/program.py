"""The program around the commands: words for errors, exit codes, what commands have in common.

Exit codes, first that applies: 2 bad input; 3 a run stopped on its numbers; 1 a criterion missed
and `--strict` given; 0. Beside them 130 when stopped by Ctrl-C and 70 for a fault of simfan itself.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from simfan import __version__

if TYPE_CHECKING:
    from rich.console import Console

    from simfan.plant.case import Case
    from simfan.report.files import HasJson, Traced
    from simfan.report.progress import Progress
    from simfan.report.sections import Section

Noted = TypeVar("Noted")
Told = Callable[[str, float], None] | None
"""Is called with a strategy and the share of its work that is done."""
BAD_INPUT, MISSED, STOPPED, FAULT, INTERRUPTED = 2, 1, 3, 70, 130


class Program(click.Group):
    """Turns whatever a command raises into a sentence and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; exit with the code it returns."""
        try:
            code = super().invoke(ctx)
        except KeyboardInterrupt:
            say("Stopped by you.")
            code = INTERRUPTED
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except Exception as error:
            code = _tell(error, ctx.params["debug"])
        ctx.exit(code if isinstance(code, int) else 0)


def _tell(error: Exception, debug: bool) -> int:
    """The sentence for an error, on stderr; its exit code. With `debug` a fault is raised anew."""
    from simfan.errors import ScenarioError, SimfanError

    if isinstance(error, ScenarioError):
        from simfan.report.problems import told

        console(sys.stderr).print(told(error))
        return BAD_INPUT
    if isinstance(error, SimfanError):
        say(str(error))
        return BAD_INPUT
    if debug:
        raise error
    say(f"This is a fault of simfan {__version__}, not of your input: "
        f"{type(error).__name__}: {error}. To see the details, for a report, run it again as "
        "`simfan --debug ...`.")  # fmt: skip
    return FAULT


def say(words: str) -> None:
    """On stderr, wrapped."""
    from simfan.report.terminal import Words

    console(sys.stderr).print(Words(words))


def console(stream: Any) -> Console:
    """A console on a stream, as wide as it is."""
    from simfan.report import terminal

    return terminal.console(stream)


@click.group(cls=Program, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="simfan", message="%(prog)s %(version)s")
@click.option("--debug", is_flag=True, envvar="SIMFAN_DEBUG",
              help="Show the details of a fault of simfan.")  # fmt: skip
def main(debug: bool) -> None:
    """How should a large fan be controlled? Strategy against strategy, before start-up."""


OUT = click.option(
    "--out", type=click.Path(file_okay=False, path_type=Path), metavar="DIR",
    help="Also write the result as JSON and words, histories and pictures into this folder.")
UNITS = click.option("--units", "system", type=click.Choice(["si", "us"]), default="si",
                     show_default=True, help="Units of the table and pictures.")
JSON = click.option("--json", "as_json", is_flag=True,
                    help="Print the result as JSON (always SI and kWh) and nothing else.")
STRICT = click.option("--strict", is_flag=True, help="Exit with 1 when a criterion is missed.")
QUIET = click.option("--quiet", is_flag=True,
                     help="Print one line for each strategy, no progress.")
FILE = click.argument("file", type=click.Path(path_type=Path))


def writes(what: str) -> Callable[[Callable[..., int]], Callable[..., int]]:
    """The option of a command that writes a scenario anew."""
    return click.option(
        "--write", "target", type=click.Path(dir_okay=False, path_type=Path), metavar="SCENARIO",
        help=f"Write the scenario with {what} into this file; what stood there is kept.")


def load(file: Path, out: Path | None) -> Case:
    """The scenario; the folder is tried first, so that no run is lost to it. One that was made for
    it and stays empty is taken away again."""
    from simfan import api

    if out is not None:
        from simfan.report.files import left, prepare

        click.get_current_context().call_on_close(partial(left, prepare(out)))
    return api.load(file)


@contextmanager
def placed(file: Path) -> Iterator[None]:
    """Mistakes found once the plant is assembled get their file and line, too."""
    from simfan.errors import ScenarioError
    from simfan.scenario import place

    try:
        yield
    except ScenarioError as error:
        if all(problem.file for problem in error.problems):
            raise
        raise ScenarioError(place(error.problems, file)) from None


def known(case: Case, names: Sequence[str]) -> list[str]:
    """The strategies asked for, all of them when none was named. RunError for an unknown one."""
    from difflib import get_close_matches

    from simfan.errors import RunError

    for name in names:
        if name not in case.strategies:
            near = get_close_matches(name, case.strategies, n=3, cutoff=0.4)
            hint = f"did you mean {' or '.join(near)}? " if near else ""
            raise RunError(f'There is no strategy "{name}" in this scenario; {hint}'
                           f"It has: {', '.join(case.strategies)}.")  # fmt: skip
    return list(dict.fromkeys(names)) or list(case.strategies)


@contextmanager
def working(file: Path, quiet: bool, lines: bool = False) -> Iterator[Progress]:
    """Tells how far the work is, with `lines` into a file, too; mistakes found on the way get their
    place."""
    from simfan import api
    from simfan.report.progress import Progress

    if not api.is_compiled():
        if not quiet:
            click.echo("Compiling the solver, once (two or three minutes) ...", err=True)
        api.warm_up()
    with placed(file), Progress(sys.stderr, not quiet, lines) as progress:
        yield progress


def held_value(case: Case, option: str, text: str | None) -> float | None:
    """A value of what the loop holds, as written on the command line."""
    return None if text is None else quantity(option, text, case.control.held_kind)


def quantity(option: str, text: str, kind: str) -> float:
    """A quantity as written on the command line. RunError names the option."""
    from simfan.errors import RunError, UnitError
    from simfan.units import parse

    try:
        return parse(text, kind)
    except UnitError as why:
        raise RunError(f"{option}: {why}") from None


def of_file(note: Noted, file: Path) -> Noted:
    """A note or an answer with the file it came from, so that a result can be traced to it."""
    from dataclasses import replace

    from simfan.scenario import fingerprint

    return replace(note, file=file.name, fingerprint=fingerprint(file))  # type: ignore[type-var]


def tell(answer: Traced, told: HasJson, stem: str, sections: Sequence[Section[Any]],
         quiet_sections: Sequence[Section[Any]], says: str, besides: str, *, out: Path | None,
         system: Any, as_json: bool, quiet: bool) -> None:
    """Print an answer, or as JSON what is `told` of it; write both into the folder, if there is
    one, and say so, with what is written `besides`."""
    from simfan.report import files, page

    if as_json:
        click.echo(files.as_json(told), nl=False)
    else:
        page.print_on(console(sys.stdout), answer, system, quiet_sections if quiet else sections)
    if out is not None:
        files.write_answer(out, stem, answer, told, sections, says, system)
        if not quiet:
            say(f"Wrote {out}: {stem}.html, {stem}.json, {stem}.txt{besides}.")
