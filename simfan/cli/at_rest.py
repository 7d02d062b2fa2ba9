"""The command about operating points: map."""

from __future__ import annotations

import json
import sys
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
    Told,
    console,
    known,
    load,
    main,
    of_file,
    placed,
    quantity,
    say,
    working,
)

if TYPE_CHECKING:
    from simfan.overview import Overview
    from simfan.plant.case import Case


@main.command("map")
@FILE
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
@OUT
@UNITS
@JSON
@QUIET
def map_command(file: Path, names: tuple[str, ...], points: int, write_sequence: bool,
                at: str | None, pressure: str | None, out: Path | None, system: Any, as_json: bool,
                quiet: bool) -> int:
    """Map the steady operating points of the scenario FILE over each strategy's range."""
    from simfan import api
    from simfan.report import map_files, map_page, page

    case = load(file, out)
    chosen = known(case, names)
    if at is not None or pressure is not None:
        return _asked(file, case, chosen, at, pressure, system, as_json)
    overview = _mapped(file, lambda told: api.operating_map(case, chosen, points, told), quiet)
    if as_json:
        click.echo(json.dumps(overview.to_json(), indent=2, allow_nan=False))
    else:
        sections = map_page.QUIET if quiet else map_page.MAP
        page.print_on(console(sys.stdout), overview, system, sections)
    if out is not None:
        map_files.write(out, overview, system)
        if not quiet:
            say(f"Wrote {out}: map.html, map.json, map.txt and the pictures in operating-map.")
    if write_sequence:
        say(_sequence_written(file, overview))
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
    value = quantity("--at", at, kind)
    both = None if pressure is None else quantity("--pressure", pressure, "pressure")
    with placed(file):
        found = [(name, api.point_for(case, name, value) if both is None else
                  api.setting_for(case, name, value, both)) for name in names]
    if as_json:
        click.echo(json.dumps([{"name": n, "answer": plain(a)} for n, a in found], indent=2))
    else:
        console(sys.stdout).print(map_at.answers(found, system))
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

    with working(file, quiet) as progress:
        overview = work(progress)
    return replace(overview, note=of_file(overview.scenario, file))
