"""Commands that bind all answers and hand numbers over: report, replay."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import click

from simfan.cli.program import (
    FILE,
    JSON,
    MISSED,
    QUIET,
    UNITS,
    console,
    known,
    load,
    main,
    of_file,
    say,
    working,
)


@main.command()
@FILE
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), metavar="DIR",
              required=True, help="Write report.html, report.pdf, result.json and the folder "
              "sheets into this folder.")  # fmt: skip
@click.option("--strategy", "names", multiple=True, metavar="NAME",
              help="Sheets for this one, in place of the one that the rule gives; may be given "
                   "several times.")  # fmt: skip
@click.option("--runs", type=click.IntRange(10, 1_000_000), metavar="N", default=60,
              show_default=True,
              help="Runs of the search at random and for the worst; smallest changes, ramp limits "
                   "and sensitivities come on top.")  # fmt: skip
@UNITS
@QUIET
def report(file: Path, out: Path, names: tuple[str, ...], runs: int, system: Any, quiet: bool
           ) -> int:
    """Bind all answers to the scenario FILE into one report, with sheets to type from.

    Runs comparison, map, loops and a small search, all with the numbers of the sheets, rounded to
    what is typed in. Some minutes for a large scenario.
    """
    from simfan import api
    from simfan.compare import ScenarioNote
    from simfan.report import bound_answer, bound_files, page
    from simfan.report.bound_words import FIRST_PAGE

    case = load(file, out)
    chosen = known(case, names) if names else None
    note = of_file(ScenarioNote(case.title), file)
    with working(file, quiet) as progress:
        bound = api.bind(case, chosen, runs, note, system, progress)
    if quiet:
        click.echo(bound_answer.sentence(bound))
    else:
        page.print_on(console(sys.stdout), bound, system, (FIRST_PAGE,))
    bound_files.write(out, bound, system)
    if not quiet:
        sheets = f" Prove the sheets with: simfan replay {out / 'sheets'}" if bound.sheets else ""
        say(f"Wrote {out}: report.html, report.pdf, result.json"
            f"{' and the folder sheets' if bound.sheets else ''}.{sheets}")
    return 0


@main.command()
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@UNITS
@JSON
@QUIET
def replay(folder: Path, system: Any, as_json: bool, quiet: bool) -> int:
    """Read the sheets in DIR back, build the plant's case from them, and run it again.

    Tells whether the runs come out bit for bit, or what was changed and what it does. Exits with 1
    where a typed number differs or a run does not come out alike.
    """
    from simfan import api
    from simfan.report import bound_words, page

    with working(folder, quiet) as progress:
        found = api.replay(folder, progress)
    if as_json:
        click.echo(json.dumps(found.to_json(), indent=2, ensure_ascii=False))
    else:
        sections = (bound_words.PROOF,) if quiet else bound_words.REPLAY
        page.print_on(console(sys.stdout), found, system, sections)
    return 0 if found.proved else MISSED
