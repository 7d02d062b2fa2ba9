"""Commands that run strategies: compare, run."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from simfan.cli.program import (
    FILE,
    JSON,
    MISSED,
    OUT,
    QUIET,
    STOPPED,
    STRICT,
    UNITS,
    Told,
    console,
    known,
    load,
    main,
    of_file,
    say,
    working,
)

if TYPE_CHECKING:
    from simfan.compare import Comparison
    from simfan.loop_answer import LoopAnswer
    from simfan.overview import Overview
    from simfan.report.sections import Section


def _shared(command: Callable[..., int]) -> Callable[..., int]:
    """The options that every command with runs has."""
    for option in reversed((OUT, UNITS, JSON, STRICT, QUIET)):
        command = option(command)
    return command


@main.command()
@FILE
@click.option("--strategy", "names", multiple=True, metavar="NAME",
              help="Compare these alone; may be given several times.")  # fmt: skip
@_shared
def compare(file: Path, names: tuple[str, ...], **options: Any) -> int:
    """Run the strategies of the scenario FILE, side by side."""
    from simfan import api
    from simfan.report import files, map_page, tune_page
    from simfan.tuned import Tuned

    case = load(file, options["out"])
    chosen = known(case, names)

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
@FILE
@click.option("--strategy", "name", required=True, metavar="NAME", help="The strategy to run.")
@click.option("--audit", is_flag=True, help="Run again with half the step and tell the difference.")
@_shared
def run(file: Path, name: str, audit: bool, **options: Any) -> int:
    """Run one strategy of the scenario FILE."""
    from simfan import api
    from simfan.compare import compare as judged

    case = load(file, options["out"])
    known(case, [name])
    return _report(
        file, lambda progress: judged([api.run(case, name, progress, audit=audit)], case.criteria),
        (), **options,
    )


def _report(
    file: Path, work: Callable[[Told], Comparison], more: Sequence[Section[Any]],
    out: Path | None, system: Any, as_json: bool, strict: bool, quiet: bool,
) -> int:  # fmt: skip
    """Run, print, write, with more sections on the page; the exit code."""
    from simfan.report import files, page
    from simfan.report.answer import VERDICTS

    with working(file, quiet) as progress:
        comparison = _noted(work(progress), file)
    if as_json:
        click.echo(json.dumps(comparison.to_json(), indent=2, allow_nan=False))
    else:
        sections = (VERDICTS,) if quiet else page.COMPARISON
        page.print_on(console(sys.stdout), comparison, system, sections)
    if out is not None:
        files.write(out, comparison, system, more)
        if not quiet:
            say(f"Wrote {out}: report.html, result.json, summary.txt, histories and pictures.")
    return _code(comparison, strict)


def _noted(comparison: Comparison, file: Path) -> Comparison:
    """The comparison with the file it came from, so that a result can be traced to it."""
    from dataclasses import replace

    return replace(comparison, scenario=of_file(comparison.scenario, file))


def _code(comparison: Comparison, strict: bool) -> int:
    if any(result.stopped for result in comparison.strategies):
        return STOPPED
    if strict and not all(result.meets_criteria for result in comparison.strategies):
        return MISSED
    return 0
