"""`simfan fit`: from a file to a table, JSON, a page and a new scenario; and what is refused."""

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from matplotlib.figure import Figure
from rich.console import Console

from simfan import api
from simfan.cli import main
from simfan.cli.fit import written_anew
from simfan.errors import RunError
from simfan.fit_answer import FitAnswer
from simfan.fitted import to_json
from simfan.fitting.words import findings
from simfan.report import files, fit_page, fit_pictures, page
from simfan.scenario import Changed, write_numbers, written
from simfan.scenario.rewrite_numbers import with_number
from tests.fits import recorded
from tests.test_fit import RUN, SPEED, TRUE, VOLUME, fitted

SHORT = tuple(TRUE)[:2]
COLUMNS = ("time=t [s]", "setpoint=SP [m3/s]", "measured_value=PV [m3/s]",
           "controller_output=OP [%]", "volume_pressure=PT [Pa]")


@pytest.fixture(scope="module")
def answer() -> FitAnswer:
    """Of a trend with noise, two numbers and two that it cannot tell."""
    return fitted(recorded(RUN), (*SHORT, "fan.inertia"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A scenario and a trend of the plant as built, both as files."""
    made = tmp_path_factory.mktemp("fit")
    (made / "plant.toml").write_text(written.text(written.tables(SPEED)) + "\n# as designed\n")
    trend = recorded(RUN)
    rows = np.column_stack([trend.time, *(trend.signals[k] * (100.0 if k == "controller_output"
                                                              else 1.0)
                                          for k in ("setpoint", "measured_value",
                                                    "controller_output", "volume_pressure"))])
    np.savetxt(made / "trend.csv", rows, delimiter=",", header="t,SP,PV,OP,PT", comments="",
               fmt="%.6f")
    return made


def run(folder: Path, *more: str, columns: Sequence[str] = COLUMNS) -> Result:
    """The command on the two files."""
    words = ["fit", str(folder / "trend.csv"), "--scenario", str(folder / "plant.toml"),
             "--starts", "1"]
    for column in columns:
        words += ["--column", column]
    for path in TRUE:
        words += ["--number", path]
    return CliRunner().invoke(main, [*words, *more])


def test_a_fit_from_files_gives_a_page_json_and_a_new_scenario(folder: Path) -> None:
    out, new = folder / "out", folder / "new.toml"
    result = run(folder, "--json", "--out", str(out), "--write", str(new), "--quiet")
    assert result.exit_code == 0, result.output
    found = json.loads((out / "fit.json").read_text())
    volume = next(n for n in found["numbers"] if n["path"] == VOLUME)
    assert volume["low_95"] < 800.0 < volume["high_95"]
    assert (out / "fit" / "measured_value.png").stat().st_size > 20_000
    page = (out / "fit.html").read_text()
    assert page.count("<svg") == 2
    captions = re.findall("<figcaption>(.*?)</figcaption>", page)
    assert [c.split(".")[0] for c in captions] == ["Measured value", "Volume pressure"]
    assert all("units of the noise" in c for c in captions)
    assert "# as designed" in new.read_text() and "95 % intervals" in new.read_text()
    case = api.load(new)
    assert case.ductwork.volume == pytest.approx(volume["estimate"], rel=1e-4)
    assert case.process.design.pressure == pytest.approx(found["numbers"][0]["in_file"], rel=1e-4)


def test_the_numbers_of_the_table_stand_in_the_json(answer: FitAnswer) -> None:
    told = to_json(answer)
    assert files.as_json(type("Told", (), {"to_json": lambda self: told})())
    for number, row in zip(answer.numbers, told["numbers"], strict=True):
        assert (row["estimate"], row["low_95"]) == (number.estimate, number.low)
    assert told["correlation"] == answer.correlation.tolist()


@pytest.mark.parametrize("width", [80, 120])
def test_the_table_fits_the_terminal(answer: FitAnswer, width: int) -> None:
    console = Console(width=width, record=True, file=open("/dev/null", "w"))  # noqa: SIM115, PTH123
    page.print_on(console, answer, "si", fit_page.FIT)
    words = console.export_text()
    assert max(map(len, words.splitlines())) <= width
    assert re.search(r"duct volume \[m3\]\s+600\s+\d+\s+\d+ to \d+", words)
    assert "not to be set" in " ".join(words.split())


def test_at_the_prompt_a_fit_is_what_the_terminal_shows(
        answer: FitAnswer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    printed = files.on_paper(answer, "si", fit_page.FIT)
    assert repr(answer).split() == printed.split()
    html = answer._repr_html_()
    assert html is not None
    assert "<table" in html
    assert "duct volume" in html


def test_readings_that_no_number_explains_are_told_and_not_fitted(folder: Path) -> None:
    """The signs of all readings are turned: nothing is found, and nothing breaks."""
    trend = recorded(RUN)
    turned = {name: -value if name in ("measured_value", "volume_pressure") else value
              for name, value in trend.signals.items()}
    found = fitted(replace(trend, signals=turned), (VOLUME, "fan.inertia"))
    assert not found.fitted
    assert "the trend tells none of these numbers" in " ".join(found.findings)
    assert not found.explained


def test_a_reading_that_stands_still_is_doubted() -> None:
    trend = recorded(RUN)
    frozen = np.full(trend.time.size, float(trend.signals["measured_value"][0]))
    found = fitted(replace(trend, signals={**trend.signals, "measured_value": frozen}), SHORT)
    assert any(one.startswith("measured value never moves") for one in found.findings)
    assert not any("volume pressure never moves" in one for one in found.findings)


def test_a_number_keeps_its_unit_and_its_comment() -> None:
    text = '[ductwork]\nvolume = "21 m3" # from the drawing\ndischarge = { length = "3 ft" }\n'
    made = with_number(text, ("ductwork", "volume"), Changed(34.5678, "volume"))
    assert 'volume = "34.568 m3" # from the drawing' in made
    feet = with_number(text, ("ductwork", "discharge", "length"), Changed(0.3048, "length"))
    assert 'length = "1 ft"' in feet


@pytest.mark.parametrize(("text", "expected"), [
    ("control = { scan = 1 }\n", "control = { transmitter = { lag"),
    ("[control]\nscan = 1\n", '[control]\ntransmitter.lag = "1.5 s"\n'),
    ("[control.transmitter]\nnoise = 0.0\n", '[control.transmitter]\nlag = "1.5 s"\n'),
    ("[fan]\n", '[control.transmitter]\nlag = "1.5 s"\n'),
])
def test_a_number_that_was_not_written_finds_its_table(text: str, expected: str) -> None:
    key = ("control", "transmitter", "lag")
    assert expected in with_number(text, key, Changed(1.5, "time"))


def test_what_cannot_be_written_leaves_the_file(folder: Path) -> None:
    target = folder / "kept.toml"
    target.write_text("title = 'mine'\n")
    with pytest.raises(RunError, match="was left as it"):
        write_numbers(folder / "plant.toml", {VOLUME: Changed(-5.0, "volume")}, target)
    assert target.read_text() == "title = 'mine'\n"


@pytest.mark.parametrize(("more", "words"), [
    (["--number", "ductwork.volum"], "ductwork.volum cannot be fitted"),
    (["--skip", "5"], "--skip"),
    (["--skip", "-5 s"], "0 s or more"),
    (["--from", "89 s"], "at least"),
    (["--strategy", "vanes"], "no strategy"),
])
def test_mistakes_are_told_in_a_sentence(folder: Path, more: list[str], words: str) -> None:
    result = run(folder, *more)
    assert result.exit_code == 2
    assert words in " ".join(result.stderr.split())
    assert "Traceback" not in result.output


def test_a_missing_column_is_told(folder: Path) -> None:
    result = run(folder, columns=(*COLUMNS[:-1], "volume_pressure=PX [Pa]"))
    assert result.exit_code == 2
    assert "PX" in result.stderr


@pytest.mark.parametrize(("r", "said"), [(-1.0, True), (0.9951, True), (0.98, False)])
def test_a_pair_of_which_only_a_combination_is_known_is_told_where_it_is_written(
        answer: FitAnswer, folder: Path, r: float, said: bool) -> None:
    """On the terminal, on the page and in the scenario, beside both of its numbers."""
    together = replace(answer, correlation=np.array([[1.0, r], [r, 1.0]]))
    assert len(together.fitted) == 2
    one, other = (n.label for n in together.fitted)
    words = f"a combination of {other} and {one} is known (correlation {r:.2f})"
    told = written_anew(folder / "plant.toml", together, folder / "pair.toml")
    text = (folder / "pair.toml").read_text()
    for place in (told, text, " ".join(findings(together))):
        assert (words in place) is said
    assert any("trade off" in line for line in findings(together)) is not said


def test_a_line_is_broken_where_nothing_was_compared() -> None:
    """A straight line through a gap would look like samples."""
    time = np.concatenate((np.arange(0.0, 50.0), np.arange(80.0, 100.0)))
    axes = Figure().add_subplot()
    fit_pictures._line(axes, time, np.ones(time.size))
    drawn = axes.lines[0].get_ydata()
    assert np.isnan(drawn).sum() == 1 and np.isnan(drawn[50])
