"""The pictures of the pages, drawn by simfan when the site is built; none is committed."""

from pathlib import Path
from shutil import copy
from tempfile import TemporaryDirectory

from click.testing import CliRunner
from sphinx.application import Sphinx
from sphinx.errors import ExtensionError

import simfan
from simfan.cli import main

DRAWN = {"night-turndown": ["as-built", "damper-at-fan", "inlet-vanes"]}
"""Scenario in docs/examples → strategies whose picture a page shows."""


def draw(app: Sphinx) -> None:
    """Run the strategies and put their pictures into docs/drawn."""
    folder = Path(app.srcdir) / "drawn"
    folder.mkdir(exist_ok=True)
    for scenario, names in DRAWN.items():
        file = Path(app.srcdir) / "examples" / f"{scenario}.toml"
        if any(_is_old(folder / f"{name}.png", file) for name in names):
            _run(file, names, folder)


def _is_old(picture: Path, file: Path) -> bool:
    """Whether the scenario or simfan itself is newer."""
    sources = [file, *Path(simfan.__file__).parent.rglob("*.py")]
    newest = max(source.stat().st_mtime for source in sources)
    return not picture.exists() or picture.stat().st_mtime < newest


def _run(file: Path, names: list[str], folder: Path) -> None:
    with TemporaryDirectory() as out:
        chosen = [word for name in names for word in ("--strategy", name)]
        words = ["compare", str(file), *chosen, "--quiet", "--out", out]
        done = CliRunner().invoke(main, words)
        if done.exit_code:
            raise ExtensionError(f"simfan {' '.join(words)} failed: {done.output}")
        for name in names:
            copy(Path(out) / f"{name}.png", folder / f"{name}.png")


def setup(app: Sphinx) -> dict[str, bool]:
    app.connect("builder-inited", draw)
    return {"parallel_read_safe": True}
