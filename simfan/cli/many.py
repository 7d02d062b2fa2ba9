"""The command that searches many runs: stress."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from simfan.cli.program import (
    BAD_INPUT,
    FILE,
    INTERRUPTED,
    JSON,
    OUT,
    QUIET,
    UNITS,
    known,
    load,
    main,
    of_file,
    say,
    tell,
    working,
)


@main.command()
@FILE
@click.option("--strategy", "name", metavar="NAME",
              help="The strategy to search; needed where the scenario has several.")
@click.option("--runs", type=click.IntRange(10, 1_000_000), metavar="N",
              help="Runs laid out and searched, together; else as the scenario says. Smallest "
                   "changes, ramp limits and sensitivities come on top, at most three times as "
                   "many; told before it starts.")
@click.option("--seconds", type=click.FloatRange(1.0), metavar="S",
              help="End after so long, with what is done by then.")
@click.option("--seed", type=click.IntRange(0, 10**9), metavar="N",
              help="Of the samples; else as the scenario says.")
@click.option("--threads", type=click.IntRange(1, 256), default=1, show_default=True, metavar="N",
              help="Runs side by side; the answer is the same for any number.")
@click.option("--scheduler", metavar="ADDRESS",
              help="Have the runs made by the workers of a Dask scheduler, such as "
                   "tcp://192.0.2.7:8786, in place of this machine and its threads; the answer is "
                   "the same. Needs simfan[cluster].")
@OUT
@UNITS
@JSON
@QUIET
def stress(file: Path, name: str | None, runs: int | None, seconds: float | None, seed: int | None,
           threads: int, scheduler: str | None, **options: Any) -> int:
    """Search for the run that breaks a strategy of the scenario FILE.

    Varied as its [stress] table says. With --out DIR every run is kept as it comes: the same
    command goes on from there after it was stopped.
    """
    from simfan import api
    from simfan.report import stress_page
    from simfan.stress_answer import BY_USER
    from simfan.stressed import Stressed

    out, quiet = options["out"], options["quiet"]
    case = load(file, out)
    known(case, [name] if name else [])
    if not quiet and (name or len(case.strategies) == 1):
        say(api.stress_budget(case, name, runs))
    with working(file, quiet, lines=True) as progress:
        answer = of_file(api.stress(case, name, runs, seconds, seed, out, threads, progress,
                                    scheduler), file)
    tell(answer, Stressed(answer), "stress", stress_page.STRESS, stress_page.QUIET,
         stress_page.SAYS, ", the pictures in stress, the runs, and a scenario for each run that "
         "breaks a requirement", **options)
    if answer.broken_off:
        say(f"Ended early: {answer.stopped_early}.")
        return BAD_INPUT
    return INTERRUPTED if answer.stopped_early == BY_USER else 0
