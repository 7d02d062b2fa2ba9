"""The folder of `simfan tune`, its pictures, and its part of a comparison's page."""

import json
import re
from dataclasses import replace
from math import inf
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from simfan import api
from simfan.cli import main
from simfan.loop_answer import LoopAnswer
from simfan.plant.tags import Tags
from simfan.report import files, page, tune_page
from simfan.units import System

SCENARIOS = Path(__file__).parents[1] / "scenarios"
DRYER = SCENARIOS / "ten-lines.toml"


def on_page(answer: LoopAnswer, system: System) -> str:
    return files.answer_page("tune", answer, tune_page.TUNE, tune_page.SAYS, system)


@pytest.fixture(scope="module")
def answer() -> LoopAnswer:
    return api.tune(api.load(DRYER), rules=["simc", "relay"], runs=True, curves=True)


def test_the_folder_has_page_numbers_words_and_pictures(tmp_path: Path) -> None:
    got = CliRunner().invoke(main, ["tune", str(DRYER), "--out", str(tmp_path / "o"),
                                    "--write", str(tmp_path / "new.toml")])
    assert got.exit_code == 0, got.output
    assert "Wrote the tunings of damper, variable-speed into" in " ".join(got.stderr.split())
    names = {str(p.relative_to(tmp_path / "o")) for p in (tmp_path / "o").rglob("*.*")}
    assert names == {"tune.html", "tune.json", "tune.txt", *(
        f"tuning/{name}.{end}" for end in ("png", "svg") for name in (
            "process", "over-range/damper", "over-range/variable-speed", "runs/damper",
            "runs/variable-speed"))}
    told = json.loads((tmp_path / "o" / "tune.json").read_text())
    new = api.load(tmp_path / "new.toml")
    for strategy in told["strategies"]:
        controller = new.strategies[strategy["name"]].controller
        assert controller is not None
        assert controller.gain == strategy["loops"][0]["standard"]["gain"]


def test_the_written_scenario_has_the_margins_that_were_promised(tmp_path: Path) -> None:
    target = tmp_path / "new.toml"
    got = CliRunner().invoke(main, ["tune", str(DRYER), "--quiet", "--json", "--write",
                                    str(target)])
    assert got.exit_code == 0, got.output
    told = json.JSONDecoder().raw_decode(got.stdout)[0]
    again = api.tune(api.load(target), low=told["range_m3s"][0], high=told["range_m3s"][1])
    for before, after in zip(told["strategies"], again.strategies, strict=True):
        given = after.tunings[0]
        assert given.name == "as given"
        assert given.sensitivity == pytest.approx(before["loops"][0]["largest_sensitivity"])
    run = CliRunner().invoke(main, ["compare", str(target), "--quiet"])
    assert run.exit_code == 0, run.output


def test_the_same_answer_gives_the_same_bytes(answer: LoopAnswer) -> None:
    drawings = list(page.drawings(answer, "si", tune_page.TUNE))
    assert len(drawings) == 5
    for drawing in drawings[::2]:
        assert drawing.svg() == drawing.svg()


def test_names_of_a_scenario_are_words_in_page_and_pictures(answer: LoopAnswer) -> None:
    hostile = "a $x^2$ & <b>"
    bad = replace(answer, title=hostile, strategies=tuple(
        replace(s, name=f"{hostile} {k}") for k, s in enumerate(answer.strategies)))
    words = on_page(bad, "us")
    assert "<b>" not in re.sub(r"</?b>(?=\W*$)", "", words)
    assert "a $x^2$ &amp; &lt;b&gt; 0" in words


def test_pictures_have_a_panel_only_for_tunings_that_exist(answer: LoopAnswer) -> None:
    """Gains that are sought have no row "as given"."""
    sought = replace(answer, strategies=tuple(replace(s, tunings=s.tunings[1:2])
                                              for s in answer.strategies))
    one = next(d for d in page.drawings(sought, "si", tune_page.TUNE) if "over-range" in d.name)
    both = next(d for d in page.drawings(answer, "si", tune_page.TUNE) if "over-range" in d.name)
    assert len(one.draw(False).axes) == 4
    assert len(both.draw(False).axes) == 7


def test_numbers_in_the_tables_stand_in_the_json(answer: LoopAnswer) -> None:
    """To the digits that are shown."""
    found = set()

    def numbers(part: object) -> None:
        if isinstance(part, dict):
            for value in part.values():
                numbers(value)
        elif isinstance(part, list):
            for value in part:
                numbers(value)
        elif isinstance(part, (int, float)):
            found.update(f"{part:.3g}" for part in (part, abs(part), round(part, 4)))

    from simfan.tuned import to_json

    numbers(to_json(answer))
    cells = re.findall(r'<td class="number">([^<]*)</td>', on_page(answer, "si"))
    shown = {f"{float(c):.3g}" for c in cells if c not in ("-", "")}
    assert len(shown) > 60
    derived = shown - found
    assert not derived, derived


def test_a_comparison_carries_the_loops_on_its_page(tmp_path: Path) -> None:
    got = CliRunner().invoke(main, ["compare", str(DRYER), "--quiet", "--out", str(tmp_path)])
    assert got.exit_code == 0, got.output
    words = (tmp_path / "report.html").read_text()
    assert "The loops over the range, and their tuning" in words
    assert "What to type in" in words
    assert json.loads((tmp_path / "tune.json").read_text())["strategies"]


def test_a_comparison_whose_loops_cannot_be_looked_at_says_why() -> None:
    from simfan.errors import RunError

    def broken() -> LoopAnswer:
        raise RunError("no range is common to these strategies")

    html = tune_page.in_a_report(broken).html
    assert html is not None
    said = html(None, "si")
    assert said is not None
    assert "no range is common" in said.body


def test_a_schedule_and_a_characteriser_are_told_drawn_and_typed_out() -> None:
    from simfan.tuned import to_json

    case = api.load(SCENARIOS / "kiln-air.toml")
    found = api.tune(case, ["inlet-vanes", "variable-speed"], low=32.0, high=45.0, curves=True,
                     ways=True)
    vanes, speed = found.strategies
    assert [w.name for w in vanes.ways] == ["gain schedule", "characteriser"]
    assert speed.ways == ()
    for way in vanes.ways:
        assert way.after.gain_ratio < 0.6 * way.before.gain_ratio
        assert way.after.load_error < way.before.load_error
        assert way.after.sensitivity is not None
        assert way.after.sensitivity <= 1.6
        assert way.curves is not None
        drawn = max(float(abs(1.0 / (1.0 + loop)).max()) for loop in way.curves.loop)
        assert drawn == pytest.approx(way.after.sensitivity, rel=5e-3)
    told = to_json(found)["strategies"][0]["loops"][0]["ways"]
    assert len(told[0]["gain"]) == len(told[0]["reset_s"]) == len(told[0]["at_m3s"])
    assert told[1]["element_percent"][0] == 0.0
    assert told[1]["output_percent"][-1] == 100.0
    drawn_names = [d.name for d in page.drawings(found, "si", tune_page.TUNE)]
    assert "tuning/ways/inlet-vanes" in drawn_names
    assert "tuning/ways/variable-speed" not in drawn_names


def test_a_loop_that_noise_keeps_moving_is_not_told_to_be_poorly_tuned(answer: LoopAnswer) -> None:
    """White noise about the setpoint, none of it the tuning's; and a value that stands off it."""
    loop = answer.strategies[0]
    best = next(t for t in loop.tunings if t.name == "robust")
    assert best.run
    noise = np.random.default_rng(1).normal(0.0, 0.01 * best.run.setpoint[-1],
                                            best.run.setpoint.shape)
    said = {}
    for what, value in (("noise", noise), ("away", 0.5 * best.run.setpoint)):
        run = replace(best.run, value=best.run.setpoint + value, settling=None)
        restless = replace(loop, tunings=(replace(best, run=run, largest_step=inf),))
        said[what] = " ".join(tune_page._not_settled(restless, answer, "si"))
    assert "on the average it stands at the setpoint" in said["noise"]
    assert "did not settle" in said["away"] and "on the average" not in said["away"]


def test_the_loop_goes_by_the_tag_of_the_works() -> None:
    case = api.load("scenarios/ten-lines.toml")
    tagged = case.model_copy(update={"tags": Tags(loop="FIC-310")})
    assert api.tune(tagged, ["damper"], runs=False).strategies[0].tag == "FIC-310"
