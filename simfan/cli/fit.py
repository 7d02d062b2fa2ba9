"""The command that estimates plant numbers from a recorded trend: fit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simfan.cli.program import (
    JSON,
    OUT,
    QUIET,
    UNITS,
    main,
    of_file,
    quantity,
    say,
    tell,
    working,
    writes,
)
from simfan.cli.trends import of_trend, recorded

if TYPE_CHECKING:
    from simfan.fit_answer import FitAnswer


@main.command()
@of_trend
@click.option("--from", "begin", metavar="TIME",
              help='Fit from here on, counted from the first sample, such as "90 min"; at rest, '
                   "if it can be.")
@click.option("--to", "end", metavar="TIME", help="Fit up to here.")
@click.option("--number", "numbers", multiple=True, metavar="PATH",
              help="Fit these alone, such as ductwork.volume; else the usual few. May be given "
                   "several times.")
@click.option("--driven-by", type=click.Choice(["controller output", "setpoint"]),
              help="What of the trend the model is given; else the output, where it was recorded.")
@click.option("--skip", metavar="TIME",
              help="Compare nothing for so long, where the plant was not at rest.")
@click.option("--starts", type=click.IntRange(1, 50), default=3, show_default=True, metavar="N",
              help="Places from which the search begins.")
@writes("the fitted numbers")
@OUT
@UNITS
@JSON
@QUIET
def fit(trend: Path, file: Path, name: str | None, columns: tuple[str, ...],
        quality: tuple[str, ...], time_format: str | None, zone: str | None, begin: str | None,
        end: str | None, numbers: tuple[str, ...], driven_by: str | None, skip: str | None,
        starts: int, target: Path | None, **options: Any) -> int:
    """Estimate plant numbers from the recorded TREND.

    With 95 % intervals; what the trend cannot tell is left as the scenario has it, and said so.
    """
    from simfan import api
    from simfan.fitted import Fitted
    from simfan.report import fit_page

    case = recorded(file, options["out"], columns, quality, time_format, zone)
    since, until, later = (None if text is None else quantity(option, text, "time") for option, text
                           in (("--from", begin), ("--to", end), ("--skip", skip)))
    with working(file, options["quiet"]) as progress:
        answer = of_file(api.fit(case, trend, name, numbers, since, until, driven_by, later or 0.0,
                                 starts, progress), file)
    tell(answer, Fitted(answer), "fit", fit_page.FIT, fit_page.QUIET, fit_page.SAYS,
         " and the pictures in fit", **options)
    if target is not None:
        say(written_anew(file, answer, target))
    return 0


def written_anew(file: Path, answer: FitAnswer, target: Path) -> str:
    """Write what was fitted; the sentence that says so. RunError where nothing may be."""
    from simfan.errors import RunError
    from simfan.fitting.words import inseparable
    from simfan.scenario import Changed, write_numbers

    if not answer.converged or not answer.fitted:
        raise RunError(f"Nothing was written into {target}: " + (
            "the search did not end on a minimum." if answer.fitted else
            "the trend tells none of the numbers."))
    kinds = {n.path: n.kind for n in answer.numbers}
    kept = write_numbers(file, {path: Changed(value, kinds[path])
                                for path, value in answer.changed.items()}, target,
                         _note(answer))
    beside = f"; what stood there is kept as {kept.name}" if kept else ""
    doubt = "" if answer.explained else " The model does not explain the trend: see above."
    doubt += "".join(f" {words[0].upper()}{words[1:]}." for words in inseparable(answer))
    return (f"Wrote {', '.join(n.label for n in answer.fitted)} into {target}{beside}.{doubt} Try "
            "them on a second trend before relying on them.")


def _note(answer: FitAnswer) -> list[str]:
    """Below the scenario, as comment."""
    from simfan.fitting.words import inseparable
    from simfan.report.fit_page import interval

    lines = [f"Fitted to {answer.trend or 'a trend'}, driven by its {answer.driven_by}; 95 % "
             "intervals:"]
    lines += [f"  {n.label} {interval(n)}" for n in answer.fitted]
    if not answer.explained:
        lines.append("  The model does not explain that trend.")
    lines += [f"  {words[0].upper()}{words[1:]}." for words in inseparable(answer)]
    return lines
