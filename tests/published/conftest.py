"""Keeps docs/validation.md true to what the checks of this folder compared."""

from collections.abc import Generator, Iterator

import pytest

from tests.published import page, record

ANEW = "python -m tests.published writes it anew"
PASSED = pytest.StashKey[bool]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Note on the test whether it passed."""
    report = yield
    if report.when == "call":
        item.stash[PASSED] = report.passed
    return report


@pytest.fixture(autouse=True)
def _kept_on_the_page(request: pytest.FixtureRequest) -> Iterator[None]:
    """After each passed test its rows must stand on the page; they are gathered for a new one."""
    record.compared.clear()
    yield
    if not request.node.stash.get(PASSED, False):
        return
    made = record.rows(request)
    page.gathered.setdefault(request.module, []).extend(made)
    page.passed[request.module] += 1
    if not page.writing and (lost := page.missing(made)):
        pytest.fail(f"docs/validation.md does not show:\n{lost[0]}\n{ANEW}")


@pytest.fixture(autouse=True, scope="module")
def _nothing_else_on_the_page(request: pytest.FixtureRequest) -> Iterator[None]:
    """Once all tests of a file have passed, its section has their rows and no other."""
    yield
    config, module = request.config, request.module
    chosen = config.getoption("keyword") or any("::" in word for word in config.args)
    every = sum(getattr(item, "module", None) is module for item in request.session.items)
    if page.writing or chosen or page.passed[module] < every:
        return
    if len(page.section_rows(module)) != len(page.gathered[module]):
        pytest.fail(f"docs/validation.md shows rows that no test makes. {ANEW}")


def pytest_sessionfinish(session: pytest.Session) -> None:
    if page.writing and session.testsfailed == 0:
        page.write()
