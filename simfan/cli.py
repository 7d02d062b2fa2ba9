"""The command line: arguments, words and exit codes; no arithmetic.

Exit codes, first that applies: 2 bad input; 3 a run stopped on its numbers; 1 a criterion missed
and `--strict` given; 0. Beside them 130 when stopped by Ctrl-C and 70 for a fault of simfan itself.

Every command imports its work when it is called, so that `simfan --help` loads click alone.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simfan import __version__

if TYPE_CHECKING:
    from rich.console import Console

    from simfan.compare import Comparison
    from simfan.plant.case import Case

BAD_INPUT, MISSED, STOPPED, FAULT, INTERRUPTED = 2, 1, 3, 70, 130


class Program(click.Group):
    """Turns whatever a command raises into a sentence and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; exit with the code it returns."""
        try:
            code = super().invoke(ctx)
        except KeyboardInterrupt:
            _say("Stopped by you.")
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

        _console(sys.stderr).print(told(error))
        return BAD_INPUT
    if isinstance(error, SimfanError):
        _say(str(error))
        return BAD_INPUT
    if debug:
        raise error
    _say(f"This is a fault of simfan {__version__}, not of your input: "
         f"{type(error).__name__}: {error}. To see the details, for a report, run it again as "
         "`simfan --debug ...`.")  # fmt: skip
    return FAULT


def _say(words: str) -> None:
    from simfan.report.terminal import Words

    _console(sys.stderr).print(Words(words))


def _console(stream: Any) -> Console:
    from simfan.report.terminal import console

    return console(stream)


@click.group(cls=Program, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="simfan", message="%(prog)s %(version)s")
@click.option("--debug", is_flag=True, envvar="SIMFAN_DEBUG",
              help="Show the details of a fault of simfan.")  # fmt: skip
def main(debug: bool) -> None:
    """How should a large fan be controlled? Strategy against strategy, before start-up."""


def _shared(command: Callable[..., int]) -> Callable[..., int]:
    """The options that every command with a result has."""
    for option in reversed((
        click.option("--out", type=click.Path(file_okay=False, path_type=Path), metavar="DIR",
                     help="Also write result.json, histories and pictures into this folder."),
        click.option("--units", "system", type=click.Choice(["si", "us"]), default="si",
                     show_default=True, help="Units of the table and pictures."),
        click.option("--json", "as_json", is_flag=True,
                     help="Print the result as JSON (always SI and kWh) and nothing else."),
        click.option("--strict", is_flag=True, help="Exit with 1 when a criterion is missed."),
        click.option("--quiet", is_flag=True, help="Print the verdicts alone, no progress."),
    )):  # fmt: skip
        command = option(command)
    return command


_FILE = click.argument("file", type=click.Path(path_type=Path))


@main.command()
@_FILE
@click.option("--strategy", "names", multiple=True, metavar="NAME",
              help="Compare these alone; may be given several times.")  # fmt: skip
@_shared
def compare(file: Path, names: tuple[str, ...], **options: Any) -> int:
    """Run the strategies of the scenario FILE, side by side."""
    from simfan import api

    case = _load(file, options["out"])
    chosen = _known(case, names)
    return _report(file, lambda progress: api.compare(case, chosen, progress), **options)


@main.command()
@_FILE
@click.option("--strategy", "name", required=True, metavar="NAME", help="The strategy to run.")
@click.option("--audit", is_flag=True, help="Run again with half the step and tell the difference.")
@_shared
def run(file: Path, name: str, audit: bool, **options: Any) -> int:
    """Run one strategy of the scenario FILE."""
    from simfan import api
    from simfan.compare import compare as judged

    case = _load(file, options["out"])
    _known(case, [name])
    return _report(
        file, lambda progress: judged([api.run(case, name, progress, audit=audit)], case.criteria),
        **options,
    )


@main.command()
@_FILE
def check(file: Path) -> int:
    """Look for mistakes in the scenario FILE; tell what was assumed."""
    from simfan import api
    from simfan.report.problems import clean

    with _placed(file):
        case = api.load(file)
        described, assumed = api.describe(case), api.assumed(case)
    _console(sys.stdout).print(clean(file.name, described, assumed))
    return 0


@main.command()
def schema() -> int:
    """Print the JSON Schema of a scenario."""
    from simfan import api

    click.echo(json.dumps(api.schema(), indent=2))
    return 0


@main.command()
@click.argument("path", type=click.Path(path_type=Path), default=Path("scenario.toml"))
def new(path: Path) -> int:
    """Write a commented scenario to PATH, to start from."""
    from simfan import api
    from simfan.errors import RunError

    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(api.starter())
    except FileExistsError:
        raise RunError(f"{path} exists already and was left as it is; give another name: "
                       "simfan new OTHER.toml") from None  # fmt: skip
    except OSError as why:
        raise RunError(f"{path} cannot be written: {why.strerror}") from None
    click.echo(f"Wrote {path}. Next: simfan check {path}; simfan compare {path}")
    return 0


@main.command("warm-up")
def warm_up() -> int:
    """Compile the solver ahead, so that the first run starts at once."""
    from simfan import api

    if api.is_compiled():
        click.echo("The solver is compiled already.")
        return 0
    click.echo("Compiling the solver, once ...", err=True)
    api.warm_up()
    click.echo("The solver is compiled.")
    return 0


def _load(file: Path, out: Path | None) -> Case:
    """The scenario; the folder is tried first, so that no run is lost to it."""
    from simfan import api

    if out is not None:
        from simfan.report.files import prepare

        prepare(out)
    return api.load(file)


@contextmanager
def _placed(file: Path) -> Iterator[None]:
    """Mistakes found once the plant is assembled get their file and line, too."""
    from simfan.errors import ScenarioError
    from simfan.scenario import place

    try:
        yield
    except ScenarioError as error:
        if all(problem.file for problem in error.problems):
            raise
        raise ScenarioError(place(error.problems, file)) from None


def _known(case: Case, names: Sequence[str]) -> list[str]:
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


def _report(
    file: Path, work: Callable[[Callable[[str, float], None] | None], Comparison],
    out: Path | None, system: Any, as_json: bool, strict: bool, quiet: bool,
) -> int:  # fmt: skip
    """Run, print, write; the exit code."""
    from simfan import api
    from simfan.report import files, page
    from simfan.report.answer import VERDICTS
    from simfan.report.progress import Progress

    if not quiet and not api.is_compiled():
        click.echo("Compiling the solver, once (some seconds to a minute) ...", err=True)
    with _placed(file), Progress(sys.stderr, shown=not quiet) as progress:
        comparison = _noted(work(progress), file)
    if as_json:
        click.echo(json.dumps(comparison.to_json(), indent=2, allow_nan=False))
    else:
        sections = (VERDICTS,) if quiet else page.COMPARISON
        page.print_on(_console(sys.stdout), comparison, system, sections)
    if out is not None:
        files.write(out, comparison, system)
        if not quiet:
            _say(f"Wrote {out}: result.json, summary.txt, histories and pictures.")
    return _code(comparison, strict)


def _noted(comparison: Comparison, file: Path) -> Comparison:
    """The comparison with the file it came from, so that a result can be traced to it."""
    from dataclasses import replace

    from simfan.scenario import fingerprint

    note = replace(comparison.scenario, file=file.name, fingerprint=fingerprint(file))
    return replace(comparison, scenario=note)


def _code(comparison: Comparison, strict: bool) -> int:
    if any(result.stopped for result in comparison.strategies):
        return STOPPED
    if strict and not all(result.meets_criteria for result in comparison.strategies):
        return MISSED
    return 0
