"""The site is built without a warning, and its pages ask nothing of the network."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests.docs.blocks import ROOT

pytest.importorskip("sphinx", reason="the site needs the extra `docs`")
pytestmark = pytest.mark.filterwarnings("ignore:.*deprecated")

FETCHES = {"script": "src", "link": "href", "img": "src", "iframe": "src", "source": "src",
           "object": "data", "embed": "src", "video": "src", "audio": "src"}
"""What a browser fetches by itself. A link that somebody clicks is none of these."""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from sphinx.cmd.build import build_main

    out = tmp_path_factory.mktemp("site")
    assert build_main(["-W", "-q", "-b", "html", str(ROOT / "docs"), str(out)]) == 0
    return out


class Fetched(HTMLParser):
    """Addresses that a page fetches."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if (tag in FETCHES and given.get(FETCHES[tag])
                and given.get("rel") not in ("index", "search", "next", "prev", "canonical")):
            self.found.append(str(given[FETCHES[tag]]))


def fetched(page: Path) -> list[str]:
    reader = Fetched()
    reader.feed(page.read_text("utf-8"))
    return reader.found


def test_every_page_is_built(site: Path) -> None:
    for page in (ROOT / "docs").rglob("*.md"):
        built = site / page.relative_to(ROOT / "docs").with_suffix(".html")
        assert built.exists(), page
        assert fetched(built)


def test_what_a_page_fetches_lies_beside_it(site: Path) -> None:
    for page in site.rglob("*.html"):
        for address in fetched(page):
            assert not re.match(r"(\w+:)?//", address), address
            if not address.startswith("data:"):
                assert (page.parent / address.partition("?")[0]).exists(), address


def test_no_style_fetches_from_elsewhere(site: Path) -> None:
    for style in site.rglob("*.css"):
        words = style.read_text("utf-8")
        assert not re.search(r"""(@import|url\()\s*["']?(\w+:)?//""", words), style


def test_formulas_are_drawn_without_a_script(site: Path) -> None:
    model = (site / "model.html").read_text("utf-8")
    assert model.count("<math ") > 40
    assert "mathjax" not in " ".join(fetched(site / "model.html")).lower()


def test_the_pictures_are_there(site: Path) -> None:
    assert (site / "tutorial.html").read_text("utf-8").count("<img") == 3
    assert {path.name for path in (site / "_images").iterdir()} == {
        "as-built.png", "damper-at-fan.png", "inlet-vanes.png"}
