"""The full report of the main scenario: how long it takes, how large it is, how long to open."""

import shutil
import time
from pathlib import Path

import pytest

from simfan import api
from simfan.report import bound_files
from tests.benchmarks.conftest import Tell

pytestmark = pytest.mark.benchmark

KILN = Path(__file__).parents[2] / "scenarios" / "kiln-air.toml"
LARGEST = 8e6
"""[bytes] of the page."""


def test_the_report_of_the_main_scenario(tell: Tell, tmp_path: Path) -> None:
    case = api.load(KILN)
    began = time.perf_counter()
    bound = api.bind(case)
    made = time.perf_counter()
    bound_files.write(tmp_path, bound, "si")
    done = time.perf_counter()
    sizes = {n: (tmp_path / n).stat().st_size for n in ("report.html", "report.pdf", "result.json")}
    tell("report of kiln-air: answers", f"{made - began:.0f} s")
    tell("report of kiln-air: page, paper and sheets", f"{done - made:.0f} s")
    tell("report of kiln-air: size", ", ".join(f"{n} {s / 1e6:.1f} MB" for n, s in sizes.items()))
    assert sizes["report.html"] < LARGEST
    began = time.perf_counter()
    assert api.replay(tmp_path / "sheets").proved
    tell("replay of its sheets", f"{time.perf_counter() - began:.1f} s")
    _opened(tell, tmp_path)


def _opened(tell: Tell, folder: Path) -> None:
    browser = pytest.importorskip("tests.test_report_browser")
    program = next(filter(None, map(shutil.which, browser.NAMES)), None)
    if program is None:
        pytest.skip("no browser")
    with browser.sync_api.sync_playwright() as tool:
        window = tool.chromium.launch_persistent_context(
            str(folder / "profile"), executable_path=program, headless=True, args=browser.FLAGS)
        seen = browser.Opened(window.new_page())
        began = time.perf_counter()
        seen.page.goto((folder / "report.html").as_uri())
        seen.until(lambda: seen.page.evaluate(browser.READY))
        tell("report of kiln-air: opened in a headless browser",
             f"{time.perf_counter() - began:.1f} s")
        window.close()
