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

    from simfan.compare import Comparison, ScenarioNote
    from simfan.experiment_answer import BumpTest, RelayTest
    from simfan.loop_answer import LoopAnswer
    from simfan.overview import Overview
    from simfan.plant.case import Case
    from simfan.report.progress import Progress
    from simfan.report.sections import Section

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


_OUT = click.option(
    "--out", type=click.Path(file_okay=False, path_type=Path), metavar="DIR",
    help="Also write the result as JSON and words, histories and pictures into this folder.")
_UNITS = click.option("--units", "system", type=click.Choice(["si", "us"]), default="si",
                      show_default=True, help="Units of the table and pictures.")
_JSON = click.option("--json", "as_json", is_flag=True,
                     help="Print the result as JSON (always SI and kWh) and nothing else.")
_STRICT = click.option("--strict", is_flag=True, help="Exit with 1 when a criterion is missed.")
_QUIET = click.option("--quiet", is_flag=True,
                      help="Print one line for each strategy, no progress.")


def _shared(command: Callable[..., int]) -> Callable[..., int]:
    """The options that every command with runs has."""
    for option in reversed((_OUT, _UNITS, _JSON, _STRICT, _QUIET)):
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
    from simfan.report import files, map_page, tune_page
    from simfan.tuned import Tuned

    case = _load(file, options["out"])
    chosen = _known(case, names)

    def mapped() -> Overview:
        found = api.operating_map(case, chosen)
        files.write_text(options["out"] / "map.json", files.as_json(found))
        return found

    def tuned() -> LoopAnswer:
        found = api.tune(case, chosen, case.control.max_sensitivity, curves=True)
        files.write_text(options["out"] / "tune.json", files.as_json(Tuned(found)))
        return found

    return _report(file, lambda progress: api.compare(case, chosen, progress),
                   [map_page.in_a_report(mapped), tune_page.in_a_report(tuned)], **options)


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
        (), **options,
    )


@main.command("map")
@_FILE
@click.option("--strategy", "names", multiple=True, metavar="NAME",
              help="Map these alone; may be given several times.")
@click.option("--points", type=int, default=61, show_default=True, metavar="N",
              help="Operating points of each strategy, 5 to 2001.")
@click.option("--write-sequence", is_flag=True,
              help="Write the sequence of least power into FILE; the old file is kept.")
@click.option("--at", metavar="VALUE",
              help='Tell only what gives one value of what the loop holds, such as "36 m3/s".')
@click.option("--pressure", metavar="PRESSURE",
              help="With --at a flow: what vanes and speed give both, whatever process takes it.")
@_OUT
@_UNITS
@_JSON
@_QUIET
def map_command(file: Path, names: tuple[str, ...], points: int, write_sequence: bool,
                at: str | None, pressure: str | None, out: Path | None, system: Any, as_json: bool,
                quiet: bool) -> int:
    """Map the steady operating points of the scenario FILE over each strategy's range."""
    from simfan import api
    from simfan.report import map_files, map_page, page

    case = _load(file, out)
    chosen = _known(case, names)
    if at is not None or pressure is not None:
        return _asked(file, case, chosen, at, pressure, system, as_json)
    overview = _mapped(file, lambda told: api.operating_map(case, chosen, points, told), quiet)
    if as_json:
        click.echo(json.dumps(overview.to_json(), indent=2, allow_nan=False))
    else:
        sections = map_page.QUIET if quiet else map_page.MAP
        page.print_on(_console(sys.stdout), overview, system, sections)
    if out is not None:
        map_files.write(out, overview, system)
        if not quiet:
            _say(f"Wrote {out}: map.html, map.json, map.txt and the pictures in operating-map.")
    if write_sequence:
        _say(_sequence_written(file, overview))
    return 0


def _asked(file: Path, case: Case, names: list[str], at: str | None, pressure: str | None,
           system: Any, as_json: bool) -> int:
    """One value, or a flow and a pressure: the settings of each strategy."""
    from simfan import api
    from simfan.errors import RunError
    from simfan.metrics import plain
    from simfan.report import map_at

    if at is None:
        raise RunError('--pressure asks for a flow and a pressure at once: give the flow, too, as '
                       '--at "36 m3/s"')
    kind = "volume flow" if pressure is not None else case.control.held_kind
    value = _quantity("--at", at, kind)
    both = None if pressure is None else _quantity("--pressure", pressure, "pressure")
    with _placed(file):
        found = [(name, api.point_for(case, name, value) if both is None else
                  api.setting_for(case, name, value, both)) for name in names]
    if as_json:
        click.echo(json.dumps([{"name": n, "answer": plain(a)} for n, a in found], indent=2))
    else:
        _console(sys.stdout).print(map_at.answers(found, system))
    return 0


def _sequence_written(file: Path, overview: Overview) -> str:
    """Write what was found; the sentence that says so."""
    from simfan.errors import RunError
    from simfan.scenario import write_sequences

    found = {m.name: {name.replace(" ", "_"): column for name, column in m.best_path.table.items()}
             for m in overview.map.strategies if m.best_path}
    if not found:
        raise RunError(f"Nothing was written into {file}: for none of these strategies was a "
                       "sequence found. It is sought where inlet vanes and speed share one output.")
    kept = write_sequences(file, found)
    return (f"Wrote the sequence of {', '.join(found)} into {file}; the old file is kept as "
            f"{kept.name}. Try it before use: simfan compare {file}")


def _mapped(file: Path, work: Callable[[Told], Overview], quiet: bool) -> Overview:
    """The map with the file it came from."""
    from dataclasses import replace

    with _working(file, quiet) as progress:
        overview = work(progress)
    return replace(overview, note=_of_file(overview.scenario, file))


@main.command()
@_FILE
@click.option("--strategy", "names", multiple=True, metavar="NAME",
              help="Tune these alone; may be given several times.")
@click.option("--max-sensitivity", "most", type=click.FloatRange(1.05, 4.0), default=1.6,
              show_default=True, metavar="MS", help="Largest |S| over the range, 1.05 to 4.")
@click.option("--from", "low", metavar="VALUE",
              help="One end of the range; else what all strategies reach within their limits.")
@click.option("--to", "high", metavar="VALUE", help="The other end.")
@click.option("--rule", "rules", multiple=True, metavar="RULE",
              help='Judge a tuning rule beside, such as "SIMC PI", amigo, relay; or all. May be '
                   "given several times.")
@click.option("--schedule", is_flag=True,
              help="Also seek a gain schedule and a characteriser where the process gain changes.")
@click.option("--write", "target", type=click.Path(dir_okay=False, path_type=Path),
              metavar="SCENARIO",
              help="Write the scenario with the recommended tunings into this file; what stood "
                   "there is kept.")
@_OUT
@_UNITS
@_JSON
@_QUIET
def tune(file: Path, names: tuple[str, ...], most: float, low: str | None, high: str | None,
         rules: tuple[str, ...], schedule: bool, target: Path | None, out: Path | None,
         system: Any, as_json: bool, quiet: bool) -> int:
    """Tune the loops of the scenario FILE to one robustness over one range."""
    from dataclasses import replace

    from simfan import api
    from simfan.report import page, tune_files, tune_page
    from simfan.scenario import fingerprint
    from simfan.tuned import to_json

    case = _load(file, out)
    chosen = _known(case, names)
    start, end = _held(case, "--from", low), _held(case, "--to", high)
    with _working(file, quiet) as progress:
        answer = api.tune(case, chosen, most, start, end, progress, rules, runs=True,
                          curves=out is not None, ways=schedule)
    answer = replace(answer, file=file.name, fingerprint=fingerprint(file))
    if as_json:
        click.echo(json.dumps(to_json(answer), indent=2, allow_nan=False))
    else:
        sections = tune_page.QUIET if quiet else tune_page.TUNE
        page.print_on(_console(sys.stdout), answer, system, sections)
    if out is not None:
        tune_files.write(out, answer, system)
        if not quiet:
            _say(f"Wrote {out}: tune.html, tune.json, tune.txt and the pictures in tuning.")
    if target is not None:
        _say(_tunings_written(file, answer, target))
    return 0


def _tunings_written(file: Path, answer: LoopAnswer, target: Path) -> str:
    """Write what is recommended; the sentence that says so."""
    from simfan.errors import RunError
    from simfan.scenario import Typed, write_tunings

    found = {s.name: Typed(best.gain, best.reset, best.derivative, best.full_travel)
             for s in answer.strategies if (best := s.recommended)}
    if not found:
        raise RunError(f"Nothing was written into {target}: there is no tuning for any of these "
                       "strategies.")
    kept = write_tunings(file, found, target)
    beside = f"; what stood there is kept as {kept.name}" if kept else ""
    return (f"Wrote the tunings of {', '.join(found)} into {target}{beside}. Try them before use: "
            f"simfan compare {target}")


@main.command()
@_FILE
@click.option("--strategy", "name", metavar="NAME",
              help="The strategy to search; needed where the scenario has several.")
@click.option("--runs", type=click.IntRange(10, 1_000_000), metavar="N",
              help="Runs at random and of the search, together; else as the scenario says. "
                   "Smallest changes, ramp limits and sensitivities come on top.")
@click.option("--seconds", type=click.FloatRange(1.0), metavar="S",
              help="End after so long, with what is done by then.")
@click.option("--seed", type=click.IntRange(0, 10**9), metavar="N",
              help="Of the samples; else as the scenario says.")
@click.option("--threads", type=click.IntRange(1, 256), default=1, show_default=True, metavar="N",
              help="Runs side by side; the answer is the same for any number.")
@_OUT
@_UNITS
@_JSON
@_QUIET
def stress(file: Path, name: str | None, runs: int | None, seconds: float | None, seed: int | None,
           threads: int, out: Path | None, system: Any, as_json: bool, quiet: bool) -> int:
    """Search for the run that breaks a strategy of the scenario FILE.

    Varied as its [stress] table says. With --out DIR every run is kept as it comes: the same
    command goes on from there after it was stopped.
    """
    from dataclasses import replace

    from simfan import api
    from simfan.report import page, stress_files, stress_page
    from simfan.scenario import fingerprint
    from simfan.stressed import to_json

    case = _load(file, out)
    _known(case, [name] if name else [])
    with _working(file, quiet) as progress:
        answer = api.stress(case, name, runs, seconds, seed, out, threads, progress)
    answer = replace(answer, file=file.name, fingerprint=fingerprint(file))
    if as_json:
        click.echo(json.dumps(to_json(answer), indent=2, allow_nan=False))
    else:
        sections = stress_page.QUIET if quiet else stress_page.STRESS
        page.print_on(_console(sys.stdout), answer, system, sections)
    if out is not None:
        stress_files.write(out, answer, system)
        if not quiet:
            _say(f"Wrote {out}: stress.html, stress.json, stress.txt, the pictures in stress, the "
                 "runs, and a scenario for each run that breaks a requirement.")
    return INTERRUPTED if answer.stopped_early == "stopped by you" else 0


def _tested(command: Callable[..., int]) -> Callable[..., int]:
    """The arguments and options that both tests on a loop in manual have."""
    options = (
        _FILE,
        click.option("--strategy", "name", required=True, metavar="NAME",
                     help="The strategy to test."),
        click.option("--at", required=True, metavar="VALUE",
                     help='Held value at which the test begins, at rest, such as "40 m3/s".'),
        click.option("--size", metavar="PERCENT",
                     help="The output moves by so much to either side, such as 3%; else enough for "
                          "noise, play and stick, 3 to 10 %."),
        click.option("--drift", metavar="PERCENT",
                     help="The process resistance drifts by so much over the test."),
        click.option("--noise", metavar="PERCENT",
                     help="Standard deviation of the transmitter's noise, of its raw span, in "
                          "place of the scenario's."),
        _OUT, _UNITS, _JSON,
        click.option("--quiet", is_flag=True, help="Print the test and its numbers alone."))
    for option in reversed(options):
        command = option(command)
    return command


@main.command()
@_tested
def bump(file: Path, name: str, at: str, size: str | None, drift: str | None, noise: str | None,
         **options: Any) -> int:
    """Bump the output both ways, fit models.

    In manual, from rest at a held value: the output goes up, back, down and back.
    """
    from simfan import api

    case = _load(file, options["out"])
    _known(case, [name])
    return _told_test(file, lambda: api.bump_test(
        case, name, _quantity("--at", at, case.control.held_kind), **_test_options(
            size=size, drift=drift, noise=noise)), **options)


@main.command()
@_tested
@click.option("--hysteresis", metavar="VALUE",
              help="The relay does not switch within so much of the held value; else three times "
                   "the noise, and enough for a swing of fourteen scans.")
def relay(file: Path, name: str, at: str, size: str | None, drift: str | None, noise: str | None,
          hysteresis: str | None, **options: Any) -> int:
    """Switch the output by a relay, tell the swing.

    In manual, from rest at a held value: the output is switched whenever the reading leaves a
    band.
    """
    from simfan import api

    case = _load(file, options["out"])
    _known(case, [name])
    return _told_test(file, lambda: api.relay_test(
        case, name, _quantity("--at", at, case.control.held_kind),
        hysteresis=_held(case, "--hysteresis", hysteresis),
        **_test_options(size=size, drift=drift, noise=noise)), **options)


def _test_options(**texts: str | None) -> dict[str, float]:
    """Percentages as shares, those that were given."""
    return {name: _quantity(f"--{name}", text, "fraction")
            for name, text in texts.items() if text is not None}


def _told_test(file: Path, work: Callable[[], BumpTest | RelayTest], out: Path | None, system: Any,
               as_json: bool, quiet: bool) -> int:
    """Run a test, print it, write it; the exit code."""
    from dataclasses import replace

    from simfan.report import bump_files, page
    from simfan.scenario import fingerprint

    with _placed(file):
        test = replace(work(), file=file.name, fingerprint=fingerprint(file))
    if as_json:
        click.echo(bump_files.as_json(test), nl=False)
    else:
        sections = bump_files.sections(test)
        page.print_on(_console(sys.stdout), test, system, sections[:3] if quiet else sections)
    if out is not None:
        bump_files.write(out, test, system)
        if not quiet:
            name = bump_files.name_of(test)
            _say(f"Wrote {out}: {name}.html, {name}.json, {name}.txt and the picture.")
    return 0


def _held(case: Case, option: str, text: str | None) -> float | None:
    """A value of what the loop holds, as written on the command line."""
    return None if text is None else _quantity(option, text, case.control.held_kind)


def _quantity(option: str, text: str, kind: str) -> float:
    """A quantity as written on the command line. RunError names the option."""
    from simfan.errors import RunError, UnitError
    from simfan.units import parse

    try:
        return parse(text, kind)
    except UnitError as why:
        raise RunError(f"{option}: {why}") from None


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


@contextmanager
def _working(file: Path, quiet: bool) -> Iterator[Progress]:
    """Tells how far the work is; mistakes found on the way get their place."""
    from simfan import api
    from simfan.report.progress import Progress

    if not quiet and not api.is_compiled():
        click.echo("Compiling the solver, once (some seconds to a minute) ...", err=True)
    with _placed(file), Progress(sys.stderr, shown=not quiet) as progress:
        yield progress


def _report(
    file: Path, work: Callable[[Told], Comparison], more: Sequence[Section[Any]],
    out: Path | None, system: Any, as_json: bool, strict: bool, quiet: bool,
) -> int:  # fmt: skip
    """Run, print, write, with more sections on the page; the exit code."""
    from simfan.report import files, page
    from simfan.report.answer import VERDICTS

    with _working(file, quiet) as progress:
        comparison = _noted(work(progress), file)
    if as_json:
        click.echo(json.dumps(comparison.to_json(), indent=2, allow_nan=False))
    else:
        sections = (VERDICTS,) if quiet else page.COMPARISON
        page.print_on(_console(sys.stdout), comparison, system, sections)
    if out is not None:
        files.write(out, comparison, system, more)
        if not quiet:
            _say(f"Wrote {out}: report.html, result.json, summary.txt, histories and pictures.")
    return _code(comparison, strict)


def _noted(comparison: Comparison, file: Path) -> Comparison:
    """The comparison with the file it came from, so that a result can be traced to it."""
    from dataclasses import replace

    return replace(comparison, scenario=_of_file(comparison.scenario, file))


def _of_file(note: ScenarioNote, file: Path) -> ScenarioNote:
    from dataclasses import replace

    from simfan.scenario import fingerprint

    return replace(note, file=file.name, fingerprint=fingerprint(file))


def _code(comparison: Comparison, strict: bool) -> int:
    if any(result.stopped for result in comparison.strategies):
        return STOPPED
    if strict and not all(result.meets_criteria for result in comparison.strategies):
        return MISSED
    return 0
