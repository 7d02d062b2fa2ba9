"""What the pages show is what there is: every command and every block of code is run."""

import re
from collections import Counter
from pathlib import Path

import pytest

from tests.docs.blocks import (
    PAGES,
    ROOT,
    check_file,
    difference,
    document,
    run_commands,
    same,
)
from tests.docs.outputs import renewed

RUN = {"console", "python", "toml", "csv"}
NOT_RUN = {"sh": 2}
"""Language → number of blocks that are not run: the README's two commands install simfan anew, and
a cluster needs other machines."""
FENCE = re.compile(r"^ *```(\w+)$", re.M)
DIRECTIVES = re.compile(r"^```\{(code-block|code|sourcecode)\}", re.M)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder with the scenarios in it, to work in."""
    for name in ("scenarios", "docs"):
        (tmp_path / name).symlink_to(ROOT / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_block_does_what_the_page_shows(page: Path, folder: Path) -> None:
    for example in document(page):
        example.evaluate()


def test_there_is_no_block_that_is_not_run() -> None:
    found: Counter[str] = Counter()
    seen = 0
    for page in PAGES:
        text = page.read_text("utf-8")
        assert not DIRECTIVES.search(text), page
        found.update(FENCE.findall(text))
        seen += sum(example.region.evaluator in (run_commands, check_file)
                    for example in document(page))
    assert {k: n for k, n in found.items() if k not in RUN} == NOT_RUN
    assert seen == found["console"] + found["toml"] + found["csv"] > 20
    assert found["python"] > 2


@pytest.mark.parametrize(("printed", "shown", "expected"), [
    ("surges 250 times", "surges 249 times", True), ("surges 250 times", "surges 230 times", False),
    ("  a     12.3", "a 12.3", True), ("a 12.3 s", "a 12.3 kPa", False), ("-3", "3", False),
    ("0", "0", True), ("1 of 6", "2 of 6", False)])
def test_numbers_may_differ_by_their_last_digit_and_words_not(
        printed: str, shown: str, expected: bool) -> None:
    assert same(printed, shown) is expected


def test_what_does_not_fit_is_told_where_most_fits() -> None:
    wrong = difference(["x", "a", "b 1", "c"], ["...", "a", "b 2", "..."])
    assert wrong == "shown:   b 2\nprinted: b 1"


def test_three_points_stand_for_any_lines() -> None:
    assert difference(["a", "b", "c"], ["...", "c"]) is None
    assert difference(["a", "b", "c"], ["a", "..."]) is None
    assert difference(["a", "b"], ["a"]) == "printed, not shown: b"
    assert difference(["a"], ["a", "b"]) is not None
    assert difference(["a", "b"], ["...", "c"]) is not None


def test_outputs_are_renewed_line_by_line() -> None:
    printed = ["title", "", "a 12.4 %", "b 7", "c", "Why", "  - b: 7 times"]
    shown = ["...", "a 11.0 %", "b 6", "...", "Why", "  - b: 6 times"]
    assert renewed(shown, printed) == ["...", "a 12.4 %", "b 7", "...", "Why", "  - b: 7 times"]
    assert renewed(["title", "a 1 %"], printed) == printed
    assert renewed(["a … %", "..."], ["a 1 %", "b"]) == ["a … %", "..."]
