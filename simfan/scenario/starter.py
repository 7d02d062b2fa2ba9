"""A scenario to start from."""

from importlib import resources

from simfan.plant.case import Case
from simfan.scenario.reader import load

_FILE = resources.files("simfan.scenario").joinpath("starter.toml")


def starter() -> str:
    """The text of a commented scenario that runs as it stands."""
    return _FILE.read_text("utf-8")


def starter_case() -> Case:
    """The same, read."""
    with resources.as_file(_FILE) as path:
        return load(path)
