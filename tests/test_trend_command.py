"""`simfan judge`: what it prints, writes and returns."""

import json
import re
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

from simfan import api
from simfan.api import schema
from simfan.cli import main
from simfan.metrics import Measures
from simfan.report import files, trend_page
from simfan.report.trend_pictures import NO_SAMPLES
from simfan.trends.judgement import NEEDS
from tests.recorded import EXAMPLE

LOG = EXAMPLE.with_suffix(".csv")


def judge(*words: object, columns: int = 80) -> Result:
    arguments = ["judge", str(LOG), "--scenario", str(EXAMPLE), *map(str, words)]
    return CliRunner(env={"COLUMNS": str(columns)}).invoke(main, arguments)


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_the_page_fits_the_terminal(columns: int) -> None:
    done = judge("--no-run", columns=columns)
    assert done.exit_code == 0, done.output
    assert max(len(line.rstrip()) for line in done.stdout.splitlines()) <= columns
    assert "Not judged, and why" in done.stdout


def test_every_file_is_written_and_holds_what_is_printed(tmp_path: Path) -> None:
    done = judge("--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    names = sorted(p.relative_to(tmp_path / "out").as_posix()
                   for p in (tmp_path / "out").rglob("*") if p.is_file())
    assert names == ["judge.html", "judge.json", "judge.txt", "judge/fan.png", "judge/fan.svg",
                     "judge/loop.png", "judge/loop.svg"]
    page = (tmp_path / "out" / "judge.html").read_text("utf-8")
    assert page.count("<svg") == 2 and "Not judged, and why" in page
    captions = re.findall("<figcaption>(.*?)</figcaption>", page)
    assert len(captions) == 2 and all(len(c.split()) > 8 for c in captions)
    assert all("Hatched: no good samples" in c for c in captions), "the trend has a gap"
    assert ">loop<" not in page and ">fan<" not in page, "no file's name for a caption"
    assert NO_SAMPLES in (tmp_path / "out" / "judge" / "loop.svg").read_text("utf-8")
    assert (tmp_path / "out" / "judge.txt").read_text("utf-8").startswith("Malt kiln fan")


def without(folder: Path, *keys: str) -> list[object]:
    """The example's options with a scenario that lacks these columns."""
    lines = EXAMPLE.read_text("utf-8").splitlines()
    file = folder / "less.toml"
    file.write_text("\n".join(x for x in lines if x.split(" = ")[0] not in keys), "utf-8")
    return ["--scenario", file]


@pytest.mark.parametrize("keys", [(), ("setpoint", "outlet_damper"), ("measured_value",),
                                  ("fan_pressure", "electrical_power")])
def test_the_json_has_a_reason_for_every_null(tmp_path: Path, keys: tuple[str, ...]) -> None:
    told = json.loads(judge("--json", *without(tmp_path, *keys)).stdout)

    def look(part: object, path: str) -> None:
        if isinstance(part, dict):
            for key, value in part.items():
                if value is None:
                    assert part.get("reasons", {}).get(key), f"{path}.{key}"
                elif key != "reasons":
                    look(value, f"{path}.{key}")
        elif isinstance(part, list):
            for k, value in enumerate(part):
                look(value, f"{path}.{k}")

    look(told, "")
    assert told["trend"]["samples"] == 875
    assert told["not_judged"]["excursions.surge_cycles"]


def test_the_json_has_the_rate_that_surge_would_take() -> None:
    """A quarter of the natural period, 2π/ω_H with ω_H = c·√(A/(V·L)), c = √(1.4·287.05·293.15):
    0.4912 s for 0.5 m², 30 m³ and 12 m, [calc]."""
    told = json.loads(judge("--json", "--no-run").stdout)["sampling"]
    assert told["largest_interval_s"] == pytest.approx(0.4912 / 4.0, rel=1e-3)


def test_a_trend_that_misses_a_criterion_or_leaves_one_open_fails_when_asked_strictly() -> None:
    assert judge("--no-run", "--strict", "--quiet").exit_code == 1


def test_an_option_overrides_the_scenario() -> None:
    done = judge("--no-run", "--column", "fan_pressure=PT-12 [Pa]", "--json")
    assert done.exit_code == 2
    assert "mbar" in done.stderr and "PT-12" in done.stderr


@pytest.mark.parametrize(("words", "said"), [
    (("--strategy", "dampr"), 'no strategy "dampr"'),
    (("--from", "20 min"), "0 samples from 1200 s on, two are needed"),
    (("--from", "-5 s"), "begins at 0 s"),
    (("--time-format", "%d/%m/%Y"), 'a time stamp of the form "%d/%m/%Y"'),
    (("--column", "flow=Q [m3/s]"), "got the signal"),
    (("--zone", "Atlantis/North"), "Atlantis/North"),
    (("--time-format", "%Q"), "%Q"),
])
def test_what_cannot_be_is_told_in_a_sentence(words: tuple[str, ...], said: str) -> None:
    done = judge(*words)
    assert done.exit_code == 2, done.output
    assert said in re.sub(r"\s+", " ", done.stderr)
    assert "Traceback" not in done.output


def test_a_file_that_is_none_is_told() -> None:
    done = CliRunner().invoke(main, ["judge", "nowhere.csv", "--scenario", str(EXAMPLE)])
    assert done.exit_code == 2 and "no file of this name" in done.stderr


def test_every_measure_that_can_be_missing_has_plain_words() -> None:
    assert Measures.__doc__
    for name in (*NEEDS, "tracking.changes", "travel.outlet damper"):
        words = trend_page.plainly(name)
        assert words and "_" not in words, name


def test_the_example_is_as_the_schema_says() -> None:
    import tomllib

    jsonschema.validate(tomllib.loads(EXAMPLE.read_text("utf-8")), schema())


def test_at_the_prompt_a_judgement_is_what_the_terminal_shows(
        monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    found = api.judge(api.load(EXAMPLE), LOG, simulate=False)
    assert repr(found).split() == files.on_paper(found, "si", trend_page.JUDGED).split()
    assert "<table" in str(found._repr_html_())
