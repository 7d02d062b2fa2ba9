"""The HTML page opened in a browser: nothing fetched, nothing broken, zoom, legend, print.

Needs a Chromium; without one these tests are skipped, or fail where SIMFAN_BROWSER=required.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.test_report_page import HOSTILE_NAME, HOSTILE_TITLE, text

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync")
PANELS = 5
READY = "window.Bokeh && Bokeh.documents.length == 1 && Bokeh.documents[0].is_idle"
RANGE = """() => {
    const ranges = [...Bokeh.documents[0]._all_models.values()].filter(m => m.type == "Figure")
        .map(figure => figure.x_range);
    return {different: new Set(ranges).size, start: ranges[0].start, end: ranges[0].end,
            figures: ranges.length};
}"""
HIDDEN = """() => [...Bokeh.documents[0]._all_models.values()]
    .filter(m => m.type == "GlyphRenderer" && m.glyph.type == "Line" && !m.visible).length"""
WAIT_MS, STEP_MS = 60_000, 50
"""A generous limit for a machine under load; nothing is timed by it."""


class Opened:
    """The page in a browser, and what it asked for and complained of."""

    def __init__(self, page: object) -> None:
        self.page = page
        self.asked: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda r: self.asked.append(r.url))
        page.on("pageerror", lambda e: self.complaints.append(str(e)))
        page.on("console", self._console)

    def _console(self, message: object) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)


    def until(self, holds: Callable[[], object]) -> None:
        """Wait in the browser's own time."""
        for _ in range(WAIT_MS // STEP_MS):
            if holds():
                return
            self.page.wait_for_timeout(STEP_MS)
        pytest.fail(f"did not come to hold; the page complained of {self.complaints}")


@pytest.fixture(scope="module")
def chromium() -> str:
    found = next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        why = f"no browser: none of {', '.join(NAMES)} is on the path"
        (pytest.fail if os.environ.get("SIMFAN_BROWSER") == "required" else pytest.skip)(why)
    return found


@pytest.fixture(scope="module")
def opened(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    file = tmp_path_factory.mktemp("report") / "report.html"
    file.write_text(text(), encoding="utf-8")
    profile = str(tmp_path_factory.mktemp("profile"))
    with sync_api.sync_playwright() as tool:
        window = tool.chromium.launch_persistent_context(
            profile, executable_path=chromium, headless=True, args=FLAGS,
            viewport={"width": 1200, "height": 1000})  # fmt: skip
        seen = Opened(window.new_page())
        seen.page.goto(Path(file).as_uri())
        seen.until(lambda: seen.page.evaluate(READY))
        yield seen
        window.close()


def test_nothing_is_fetched_and_no_script_complains(opened: Opened) -> None:
    for tab in opened.page.locator(".bk-tab").all():
        tab.click()
    opened.page.locator(".bk-tab").first.click()
    assert len(opened.asked) == 1
    assert opened.asked[0].startswith("file:")
    assert opened.complaints == []


def test_names_of_a_scenario_are_shown_as_they_are_and_not_run(opened: Opened) -> None:
    assert opened.page.title() == HOSTILE_TITLE
    assert opened.page.evaluate("window.hacked") is None
    assert opened.page.locator("table.verdicts tbody th").nth(1).inner_text() == HOSTILE_NAME
    assert HOSTILE_NAME in opened.page.locator(".bk-tab").all_inner_texts()


def plot(opened: Opened) -> dict[str, float]:
    """Place of the first plot's canvas on the screen."""
    canvas = opened.page.locator(".bk-Figure").first
    canvas.scroll_into_view_if_needed()
    return canvas.bounding_box()


def test_zooming_one_panel_moves_the_time_axis_of_all(opened: Opened) -> None:
    before = opened.page.evaluate(RANGE)
    assert before["figures"] == 3 * PANELS, "all strategies together, then each of the two"
    assert before["different"] == 1
    box, mouse = plot(opened), opened.page.mouse
    mouse.move(box["x"] + 400, box["y"] + 180)
    mouse.down()
    mouse.move(box["x"] + 600, box["y"] + 180, steps=5)
    mouse.up()
    opened.until(lambda: opened.page.evaluate(RANGE)["start"] > before["start"])
    after = opened.page.evaluate(RANGE)
    assert before["start"] < after["start"] < after["end"] < before["end"]


def test_a_click_on_a_name_hides_its_strategy_in_every_panel(opened: Opened) -> None:
    assert opened.page.evaluate(HIDDEN) == 0
    opened.page.get_by_text("damper-at-kiln", exact=True).locator("visible=true").last.click()
    opened.until(lambda: opened.page.evaluate(HIDDEN) == PANELS)


def test_it_prints(opened: Opened) -> None:
    """On paper the zoomable trends give way to their pictures."""
    opened.page.emulate_media(media="print")
    assert opened.page.locator("#zoomable").is_hidden()
    assert opened.page.locator(".paper svg").count() == 2
    assert opened.page.locator(".paper svg").first.is_visible()
    paper = opened.page.pdf(prefer_css_page_size=True)
    assert paper.startswith(b"%PDF")
    assert paper.count(b"/Type /Page\n") >= 4
    opened.page.emulate_media(media="screen")


def test_no_part_of_the_page_is_wider_than_the_screen(opened: Opened) -> None:
    width = opened.page.evaluate("document.documentElement.scrollWidth")
    assert width <= 1200
