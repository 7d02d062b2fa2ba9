"""The command about recorded trends: judge."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simfan.cli.program import (
    JSON,
    MISSED,
    OUT,
    QUIET,
    STRICT,
    UNITS,
    load,
    main,
    of_file,
    quantity,
    tell,
    working,
)

if TYPE_CHECKING:
    from simfan.plant.case import Case


def of_trend(command: Callable[..., int]) -> Callable[..., int]:
    """The arguments and options of every command that reads a recorded trend."""
    options = (
        click.argument("trend", type=click.Path(path_type=Path)),
        click.option("--scenario", "file", required=True, type=click.Path(path_type=Path),
                     metavar="FILE",
                     help="The plant, its criteria, and which column is which signal."),
        click.option("--strategy", "name", metavar="NAME",
                     help="What the plant ran; needed where the scenario has several and does not "
                          "say."),
        click.option("--column", "columns", multiple=True, metavar="SIGNAL=COLUMN",
                     help='Which column is which signal, such as "setpoint=SP [m3/h]"; adds to '
                          "the scenario's [trend]. May be given several times."),
        click.option("--quality", multiple=True, metavar="SIGNAL=COLUMN",
                     help="Which column tells whether a signal's samples are good."),
        click.option("--time-format", metavar="FORMAT",
                     help="Of time stamps that could be read in two ways, such as "
                          '"%d/%m/%Y %H:%M:%S".'),
        click.option("--zone", metavar="ZONE", help='Of the time stamps, such as "Europe/Oslo".'))
    for option in reversed(options):
        command = option(command)
    return command


def recorded(file: Path, out: Path | None, columns: tuple[str, ...], quality: tuple[str, ...],
             time_format: str | None, zone: str | None) -> Case:
    """The scenario, its trend read as the command line says."""
    from simfan.trends.mapping import with_words

    case = load(file, out)
    said = with_words(case.trend, columns, quality, time_format=time_format, zone=zone)
    return case.model_copy(update={"trend": said})


@main.command()
@of_trend
@click.option("--from", "begin", metavar="TIME",
              help='Judge from here on, counted from the first sample, such as "90 min".')
@click.option("--to", "end", metavar="TIME", help="Judge up to here.")
@click.option("--no-run", is_flag=True, help="Judge the trend alone; simulate nothing beside.")
@click.option("--noise", is_flag=True, help="With the scenario's noise in the simulated run.")
@STRICT
@OUT
@UNITS
@JSON
@QUIET
def judge(trend: Path, file: Path, name: str | None, columns: tuple[str, ...],
          quality: tuple[str, ...], time_format: str | None, zone: str | None, begin: str | None,
          end: str | None, no_run: bool, noise: bool, strict: bool, **options: Any) -> int:
    """Judge the recorded TREND as a run.

    By the measures and criteria of the scenario, beside the simulated run of the same setpoints.
    """
    from dataclasses import replace

    from simfan import api
    from simfan.report import trend_page

    case = recorded(file, options["out"], columns, quality, time_format, zone)
    since, until = (None if text is None else quantity(option, text, "time")
                    for option, text in (("--from", begin), ("--to", end)))
    with working(file, options["quiet"]) as progress:
        answer = api.judge(case, trend, name, since, until, not no_run, noise, progress)
    answer = replace(answer, scenario=of_file(answer.scenario, file))
    tell(answer, answer, "judge", trend_page.JUDGED, trend_page.QUIET, trend_page.SAYS,
         " and the pictures in judge", **options)
    return MISSED if strict and not answer.recorded.meets_criteria else 0
