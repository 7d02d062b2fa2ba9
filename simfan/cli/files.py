"""Commands about scenario files and the installation: check, schema, new, warm-up."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from simfan.cli.program import (
    FILE,
    console,
    main,
    placed,
)


@main.command()
@FILE
def check(file: Path) -> int:
    """Look for mistakes in the scenario FILE; tell what was assumed."""
    from simfan import api
    from simfan.report.problems import clean

    with placed(file):
        case = api.load(file)
        described, assumed = api.describe(case), api.assumed(case)
    console(sys.stdout).print(clean(file.name, described, assumed))
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
