"""What the checks of this folder compared: claim, case, expected, got, tolerance.

`got == checked(expected, "flow [cfm]", abs=0.5)` is `pytest.approx` that keeps both sides. The
rows of docs/validation.md are made of that and of nothing else; a test that compares no numbers
gives one row that says that its claim holds.
"""

import inspect
import re
from math import floor, log10
from typing import Any, NamedTuple

import numpy as np
import pytest

LONGEST = 6
"""More numbers than this in one comparison are told by their count."""


DIGITS = 7
"""No more of a number are shown: platforms differ beyond."""
MANY = 12
"""More comparisons than this in one test are told by their count."""


class Row(NamedTuple):
    """One line of the page."""

    claim: str
    what: str
    expected: str
    got: str
    within: str

    def __str__(self) -> str:
        return "| " + " | ".join(cell.replace("|", "\\|") for cell in self) + " |"


compared: list[tuple[str, str, str, str]] = []
"""(what, expected, got, within) of the test that runs."""


class checked:
    """`pytest.approx(expected, rel, abs)` that notes each comparison; `what` names the quantity."""

    __array_ufunc__ = None  # numpy leaves the comparison to this class
    __array_priority__ = 100

    def __init__(self, expected: Any, what: str = "", *, rel: float | None = None,
                 abs: float | None = None) -> None:
        self.expected, self.what, self.rel, self.abs = expected, what, rel, abs
        self.near = pytest.approx(expected, rel=rel, abs=abs)

    def __eq__(self, got: object) -> bool:
        compared.append(told(self, got))
        return bool(got == self.near)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return repr(self.near)


def told(check: checked, got: Any) -> tuple[str, str, str, str]:
    """The comparison in words; digits of `got` as far as the tolerance goes, and one more."""
    expected = numbers(check.expected)
    if len(expected) > LONGEST:
        return check.what, f"{len(expected)} values", "all of them", within(check)
    most = max((abs(x) for x in expected), default=0.0)
    slack = max(check.abs or 0.0, most * (check.rel or (0.0 if check.abs else 1e-6)))
    places = max(0, 1 - floor(log10(slack))) if slack > 0.0 else 3
    if most > 0.0:
        places = min(places, max(0, DIGITS - 1 - floor(log10(most))))
    shown = [written(x, places) for x in numbers(got)]
    return check.what, ", ".join(map(plain, expected)), ", ".join(shown), within(check)


def numbers(value: Any) -> list[complex]:
    """A number, a list or an array of numbers as one flat list."""
    return list(np.atleast_1d(np.asarray(value)).ravel().tolist())


def plain(x: complex | str) -> str:
    """As it is typed in the test, six digits at most."""
    if isinstance(x, str | bool):
        return str(x)
    if isinstance(x, complex):
        return f"{x.real:.6g} {'+' if x.imag >= 0 else '−'} {abs(x.imag):.6g}j"
    return f"{x:.6g}"


def written(x: complex, places: int) -> str:
    """To so many decimals, at most nine; no minus before nothing."""
    if isinstance(x, complex):
        return (f"{written(x.real, places)} {'+' if x.imag >= 0 else '−'} "
                f"{written(abs(x.imag), places)}j")
    if not np.isfinite(x):
        return str(x)
    return f"{round(float(x), min(places, 9)) + 0.0:.{min(places, 9)}f}"


def within(check: checked) -> str:
    """The tolerance in words."""
    parts = [f"{100.0 * check.rel:.3g} %"] if check.rel is not None else []
    parts += [f"{check.abs:.3g}"] if check.abs is not None else []
    return " or ".join(parts) or "1e-6 of it"


def sentence(name: str) -> str:
    """A test's name as a sentence."""
    words = name.removeprefix("test_").replace("_s_", "'s ").replace("_", " ")
    return words[0].upper() + words[1:]


def case_of(request: pytest.FixtureRequest) -> str:
    """What was varied in this case, fixtures and expected values left out."""
    params = getattr(request.node, "callspec", None)
    if params is None:
        return ""
    wanted = {cell for _, expected, _, _ in compared for cell in expected.split(", ")}
    given = {k.replace("_", " "): v for k, v in params.params.items()
             if isinstance(v, bool | int | float | str) and not k.startswith("expected")
             and not (isinstance(v, float) and v % 1.0 and plain(v) in wanted)}
    return ", ".join(f"{'' if v else 'not '}{k}" if isinstance(v, bool) else f"{k} {plain(v)}"
                     for k, v in given.items())


def rows(request: pytest.FixtureRequest) -> list[Row]:
    """The lines of the test that has just run."""
    name, case = sentence(request.function.__name__), case_of(request)
    if not compared or hasattr(request.function, "hypothesis"):
        return [Row(name, case, "", "holds", "")]
    if len(compared) > MANY:
        return [Row(name, case, f"{len(compared)} comparisons", "all of them", compared[0][3])]
    return list(dict.fromkeys(
        Row(name, ": ".join(filter(None, (case, what))), expected, got, slack)
        for what, expected, got, slack in compared))


def heading(module: Any) -> tuple[str, str]:
    """(title, the rest) of a file's docstring, which names its sources."""
    first, _, rest = inspect.cleandoc(module.__doc__).partition("\n\n")
    first = re.sub(r"\s+", " ", first)
    return first.rstrip("."), rest
