"""Commands about loops: tune, bump, relay."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simfan.cli.program import (
    FILE,
    JSON,
    OUT,
    QUIET,
    UNITS,
    held_value,
    known,
    load,
    main,
    of_file,
    placed,
    quantity,
    say,
    tell,
    working,
    writes,
)

if TYPE_CHECKING:
    from simfan.experiment_answer import BumpTest, RelayTest
    from simfan.loop_answer import LoopAnswer


@main.command()
@FILE
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
@writes("the recommended tunings")
@OUT
@UNITS
@JSON
@QUIET
def tune(file: Path, names: tuple[str, ...], most: float, low: str | None, high: str | None,
         rules: tuple[str, ...], schedule: bool, target: Path | None, **options: Any) -> int:
    """Tune the loops of the scenario FILE to one robustness over one range."""
    from simfan import api
    from simfan.report import tune_page
    from simfan.tuned import Tuned

    case = load(file, options["out"])
    chosen = known(case, names)
    start, end = held_value(case, "--from", low), held_value(case, "--to", high)
    with working(file, options["quiet"]) as progress:
        answer = of_file(api.tune(case, chosen, most, start, end, progress, rules, runs=True,
                                  curves=options["out"] is not None, ways=schedule), file)
    tell(answer, Tuned(answer), "tune", tune_page.TUNE, tune_page.QUIET, tune_page.SAYS,
         " and the pictures in tuning", **options)
    if target is not None:
        say(_tunings_written(file, answer, target))
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


def _tested(command: Callable[..., int]) -> Callable[..., int]:
    """The arguments and options that both tests on a loop in manual have."""
    options = (
        FILE,
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
        OUT, UNITS, JSON,
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

    case = load(file, options["out"])
    known(case, [name])
    return _told_test(file, lambda: api.bump_test(
        case, name, quantity("--at", at, case.control.held_kind), **_test_options(
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

    case = load(file, options["out"])
    known(case, [name])
    return _told_test(file, lambda: api.relay_test(
        case, name, quantity("--at", at, case.control.held_kind),
        hysteresis=held_value(case, "--hysteresis", hysteresis),
        **_test_options(size=size, drift=drift, noise=noise)), **options)


def _test_options(**texts: str | None) -> dict[str, float]:
    """Percentages as shares, those that were given."""
    return {name: quantity(f"--{name}", text, "fraction")
            for name, text in texts.items() if text is not None}


def _told_test(file: Path, work: Callable[[], BumpTest | RelayTest], **options: Any) -> int:
    """Run a test, print it, write it; the exit code."""
    from simfan.experiment_answer import BumpTest
    from simfan.report import bump_page
    from simfan.tested import Tested

    with placed(file):
        test = of_file(work(), file)
    name, sections = (("bump", bump_page.BUMP) if isinstance(test, BumpTest)
                      else ("relay", bump_page.RELAY))
    tell(test, Tested(test), name, sections, sections[:3], bump_page.SAYS, " and the picture",
         **options)
    return 0
