"""Every benchmark leaves a row; the rows close the run as one table."""

from collections.abc import Callable, Iterator

import pytest

ROWS: list[tuple[str, str]] = []

Tell = Callable[[str, str], None]


@pytest.fixture
def tell() -> Iterator[Tell]:
    """Put a row into the closing table: what was measured, and the number with its unit."""

    def add(what: str, number: str) -> None:
        ROWS.append((what, number))

    yield add


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """The table."""
    if not ROWS:
        return
    width = max(len(what) for what, _ in ROWS)
    terminalreporter.section("measured on this machine")
    for what, number in ROWS:
        terminalreporter.write_line(f"{what:<{width}}  {number}")
