"""The bound report, on screen and on paper: its first page, captions, numbers and words."""

import json
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from simfan import api
from simfan.bound import Bound
from simfan.choice import choose
from simfan.cli import main
from simfan.metrics.year import YearEnergy
from simfan.plant.stress_assumed import SPREADS, with_stress
from simfan.report import bound_files, bound_pdf, bound_plain, bound_web
from simfan.report.bound_answer import RULES, answer, sentence
from simfan.report.bound_blocks import Chapter, Grid, Heading, Picture, Points, Words
from simfan.report.bound_captions import caption
from simfan.report.bound_chapters import chapters
from simfan.report.sections import Drawing
from simfan.scenario import fingerprint
from tests.test_report_page import Cells, numbers, stands_in

SMALL = Path("scenarios/ten-lines.toml")
LARGEST = 8_000_000
"""[bytes]."""
HOSTILE = "=1+1 <script>window.hacked = 1</script> #[$x$] \\ \"q\" &"


@pytest.fixture(scope="module")
def bound() -> Bound:
    case = api.load(SMALL)
    note = api.ScenarioNote(case.title, SMALL.name, fingerprint(SMALL))
    return api.bind(case, runs=10, note=note)


@pytest.fixture(scope="module")
def parts(bound: Bound) -> tuple[Chapter, ...]:
    return chapters(bound, "si")


@pytest.fixture(scope="module")
def page(bound: Bound, parts: tuple[Chapter, ...]) -> str:
    return bound_web.page(bound, parts, "si")


@pytest.fixture(scope="module")
def written(bound: Bound, parts: tuple[Chapter, ...], tmp_path_factory: pytest.TempPathFactory
            ) -> Path:
    folder = tmp_path_factory.mktemp("report")
    bound_files.write_parts(folder, bound, parts, "si")
    return folder


def in_words(parts: tuple[Chapter, ...]) -> tuple[Chapter, ...]:
    """The chapters with one picture each, which take long to draw."""
    return tuple(Chapter(c.key, c.title, tuple(
        b for k, b in enumerate(c.blocks) if not isinstance(b, Picture)
        or not any(isinstance(x, Picture) for x in c.blocks[:k]))) for c in parts)


def test_the_first_page_answers_the_question(bound: Bound, parts: tuple[Chapter, ...]) -> None:
    first = parts[0]
    assert first.key == "answer"
    lead = next(b for b in first.blocks if isinstance(b, Words))
    assert lead.lead
    assert lead.text.startswith(f"Take {bound.choice.name}.")
    assert {"Why", "What it costs", "What to watch"} <= {
        b.text for b in first.blocks if isinstance(b, Heading)}
    assert any(isinstance(b, Words) and b.text == RULES for b in first.blocks)


def test_the_recommendation_is_what_the_rule_gives(bound: Bound) -> None:
    # By the fan laws a speed below rated takes less than a damper at the same flow (checks of
    # tests/published), so of two that meet the criteria it is the speed.
    assert bound.choice == choose(bound.comparison, bound.overview.years)
    assert bound.choice.name == "variable-speed"


def test_where_none_meets_the_criteria_it_says_none_and_hands_nothing_over(bound: Bound,
                                                                          tmp_path: Path) -> None:
    poor = [replace(r, findings=("it cannot",)) for r in bound.comparison.strategies]
    comparison = replace(bound.comparison, strategies=tuple(poor))
    none = replace(bound, comparison=comparison, choice=choose(comparison, {}), sheets=(), names=(),
                   stress=None, why_no_stress="no strategy was chosen")
    assert sentence(none).startswith("None:")
    wordy = [c for c in in_words(chapters(none, "si")) if c.key in ("answer", "stress", "sheets")]
    bound_files.write_parts(tmp_path, none, wordy, "si")
    assert not (tmp_path / "sheets").exists()
    assert "nothing to type in" in (tmp_path / "report.html").read_text(encoding="utf-8")


def points(bound: Bound) -> str:
    return " ".join(i for b in answer(bound, "si").blocks if isinstance(b, Points) for i in b.items)


def test_a_saving_over_a_plant_that_could_not_be_run_so_says_it(bound: Bound) -> None:
    # by hand: 47000 more, 94000 a year saved: half a year
    base = YearEnergy(hours=8760.0, hours_standing=0.0, hours_served=8760.0,
                      hours_not_reachable=0.0, hours_out_of_criteria=3200.0, electrical_kwh=1.5e6,
                      shaft_kwh=None, kwh_per_1000_m3=None, cost=2.1e5, co2_kg=None,
                      interpolation_error_percent=None, bins=(), baseline="damper", currency="EUR")
    drive = replace(base, hours_out_of_criteria=0.0, electrical_kwh=8e5, saved_kwh=7e5,
                    saving=9.4e4, payback_years=0.5)
    costs = {"damper": 21000.0, "variable-speed": 68000.0}
    years = {"damper": base, "variable-speed": drive}
    with_year = replace(bound, costs=costs, overview=replace(bound.overview, years=years))
    assert "the 47000 EUR that it costs more are paid back in 0.5 years" in points(with_year)
    assert "3200 h of the year is over a plant that could not be run so" in points(with_year)
    within = replace(with_year, overview=replace(bound.overview, years={
        **years, "damper": replace(base, hours_out_of_criteria=0.0)}))
    assert "could not be run so" not in points(within)


def test_how_many_runs_at_random_broke_a_requirement_is_on_the_first_page(bound: Bound) -> None:
    assert bound.stress
    verdict = bound.stress.verdicts[0]
    failed = replace(verdict, failures=4, worst=replace(verdict.worst, distance=-0.5))
    told = points(replace(bound, stress=replace(bound.stress, verdicts=(failed,))))
    assert f"(in 4 of {verdict.fresh} runs at random)" in told


def test_every_picture_has_a_caption_of_its_own(parts: tuple[Chapter, ...], page: str) -> None:
    pictures = [b for c in parts for b in c.blocks if isinstance(b, Picture)]
    assert len(pictures) >= 10
    assert all(len(p.caption.split()) >= 8 for p in pictures)
    assert page.count("<figcaption>") == page.count("<figure>") == len(pictures)


def test_a_picture_without_a_caption_is_refused() -> None:
    with pytest.raises(KeyError, match="no caption"):
        caption(Drawing("something-new", lambda flat: None))  # type: ignore[arg-type,return-value]


def test_every_number_in_a_table_is_in_the_result(bound: Bound, page: str) -> None:
    told = bound.to_json()
    pool = set(numbers(json.loads(json.dumps(told))))
    pool |= {kwh / 1000.0 for kwh in told["choice"]["energy_kwh"].values()}
    typed = {cell for sheet in told["sheets"].values() for row in sheet["rows"] for cell in row}
    shown = [c for c in Cells(page).found if re.fullmatch(r"(✗ )?-?\d+(\.\d+)?", c[3].strip())]
    assert len(shown) > 100
    lost = [(section, head, row, words) for section, head, row, words in shown
            if not (words in typed if section.startswith("sheet-") else
                    stands_in(words.strip().removeprefix("✗ "), pool, "si"))]
    assert lost == []


def test_the_first_page_has_each_number_from_its_own_place(bound: Bound, page: str) -> None:
    """Cell by cell, so that no other number of the result can stand in for it."""
    told = bound.to_json()
    choice = told["choice"]
    wanted = {}
    for one in told["comparison"]["strategies"]:
        name = one["name"]
        excursions, energy = one["excursions"], one["energy"]
        wanted[name] = {
            "its room [%]": choice["tightest_criterion"][name]["room_percent"],
            "lowest stall margin [%]": excursions["lowest_stall_margin_percent"],
            "run, from supply [kWh]": energy["electrical_kwh"]}
    found = [(row.removesuffix(" ◄"), head, words) for section, head, row, words in
             Cells(page).found if section == "answer" and head in next(iter(wanted.values()))]
    assert len(found) == 3 * len(wanted)
    for name, head, words in found:
        if words not in ("missed", "-"):
            assert stands_in(words, {wanted[name][head]}, "si"), (name, head, words)


def test_every_table_of_numbers_says_its_units(parts: tuple[Chapter, ...]) -> None:
    unnamed = ("surge cycles", "reversals", "Ms", "gain", "setpoint weight", "times",
               "largest/", "gain margin", "fan.")
    """Counts, ratios and factors; and a gain, which is % per % as its page says."""
    for chapter in parts:
        for grid in (b for b in chapter.blocks if isinstance(b, Grid) and not b.wide and b.head):
            for row in (r for r in grid.rows if len(r) > 1):
                for head, cell in zip(grid.head[1:], row[1:], strict=True):
                    if re.fullmatch(r"(✗ )?-?\d+\.\d+", cell):
                        said = f"{head} {row[0]}"
                        assert (re.search(r"\[.+\]|%|°| s\b|m3|kW|\bs$", said)
                                or any(word in said for word in unnamed)), (chapter.key, said, cell)


def test_every_default_that_was_used_is_listed_with_its_source(bound: Bound, page: str) -> None:
    rows = {row[0]: row for c in chapters(bound, "si") if c.key == "assumed"
            for b in c.blocks if isinstance(b, Grid) for row in b.rows}
    for line in (x for r in bound.comparison.strategies for x in r.history.facts.assumed):
        key = re.sub(r"^strategies\.(damper|variable-speed)\.", "", line.split(" ")[0])
        if " (default: " in line:
            assert len(rows[key][2]) > 3, line


def test_the_page_is_small_and_asks_for_nothing(page: str) -> None:
    assert len(page.encode()) < LARGEST
    markup = page.partition("<script>")[0]
    assert "</main>" in markup
    assert not re.search(r'(?:src|href)="(?!#|data:)', markup)


def test_it_opens_in_a_browser_and_fetches_nothing(
        written: Path, parts: tuple[Chapter, ...], tmp_path: Path) -> None:
    browser = pytest.importorskip("tests.test_report_browser")
    program = next(filter(None, map(shutil.which, browser.NAMES)), None)
    if program is None:
        pytest.skip("no browser")
    with browser.sync_api.sync_playwright() as tool:
        window = tool.chromium.launch_persistent_context(
            str(tmp_path), executable_path=program, headless=True, args=browser.FLAGS)
        seen = browser.Opened(window.new_page())
        seen.page.goto((written / "report.html").as_uri())
        seen.until(lambda: seen.page.evaluate(browser.READY))
        assert seen.page.locator("main > section").count() == len(parts)
        assert len(seen.asked) == 1
        assert seen.complaints == []
        seen.page.emulate_media(media="print")
        assert seen.page.locator("#zoomable").is_hidden()
        assert seen.page.locator(".paper").first.is_visible()
        window.close()


def test_cautions_stand_at_the_beginning_and_at_the_end(page: str) -> None:
    plain = re.sub(r"<[^>]+>", "", page).replace("&#39;", "'")
    assert plain.count("licensed practice rule") >= 3
    assert "no protection system" in plain


def test_the_sheets_of_a_report_prove_themselves(written: Path) -> None:
    found = CliRunner().invoke(main, ["replay", str(written / "sheets")])
    assert found.exit_code == 0, found.output
    assert "bit for bit" in found.output


def test_a_changed_sheet_is_told_with_what_it_does(written: Path, tmp_path: Path) -> None:
    place = Path(shutil.copytree(written / "sheets", tmp_path / "sheets"))
    ramps = place / "ramps.csv"
    text = ramps.read_text(encoding="utf-8-sig")
    changed = re.sub(r"(drive ramp down[^\n]*?),30,s,", r"\1,300,s,", text)
    assert changed != text
    ramps.write_text(changed, encoding="utf-8")
    found = CliRunner().invoke(main, ["replay", str(place)])
    assert found.exit_code == 1, found.output
    words = " ".join(found.output.split())
    assert "1 typed cell differs" in words
    assert "as tested" in words
    assert "as typed" in words


def test_the_comparison_is_of_the_numbers_on_the_sheets(bound: Bound) -> None:
    tuning = {row[4]: row[5] for row in next(s for s in bound.sheets if s.key == "tuning").text}
    assert bound.chosen is not None
    facts = bound.chosen.history.facts
    assert float(tuning["gain"]) == facts.tuning["gain"]
    assert float(tuning["reset (integral time)"]) == facts.tuning["reset_s"]
    assert facts.robustness is not None
    assert tuning["Ms, largest over the range"] == f"{facts.robustness.sensitivity:.3g}"


def test_what_was_varied_is_told_where_the_scenario_does_not_say_it(bound: Bound) -> None:
    assert "assumption" in bound.stress_assumed
    assert all(of in bound.stress_assumed for of, _ in SPREADS)
    given = api.load("scenarios/gypsum-dryer.toml")
    assert with_stress(given) == (given, "")


def test_a_fan_that_starts_from_standstill_is_searched_without_moves() -> None:
    case, said = with_stress(api.load("scenarios/lime-kiln-start.toml"))
    assert case.stress
    assert case.stress.moves is None
    assert case.stress.vary
    assert "move from" not in said


def content(made: bytes, tmp_path: Path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    (tmp_path / "made.pdf").write_bytes(made)
    found = subprocess.run(["pdftotext", "-layout", str(tmp_path / "made.pdf"), "-"], check=True,
                           capture_output=True)
    return found.stdout.decode()


def told(parts: tuple[Chapter, ...]) -> list[str]:
    """The first words of every block."""
    found = [c.title for c in parts[1:]]
    for block in (b for c in parts for b in c.blocks):
        if isinstance(block, Words | Heading):
            found.append(block.text)
        elif isinstance(block, Points):
            found += block.items
        elif isinstance(block, Picture):
            found.append(block.caption)
        elif isinstance(block, Grid) and not block.wide:
            found += [row[0] for row in block.rows]
    return found


@pytest.mark.parametrize("extra", [True, False], ids=["typst", "without the extra"])
def test_paper_says_what_the_screen_says(extra: bool, parts: tuple[Chapter, ...], bound: Bound,
                                         tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if extra:
        pytest.importorskip("typst")
    else:
        monkeypatch.setitem(sys.modules, "typst", None)
        parts = in_words(parts)
    made = bound_pdf.pdf(bound.title, bound.comparison.scenario, parts)
    assert made.startswith(b"%PDF")
    words = re.sub(r"\W+", "", content(made, tmp_path)).casefold().replace("³", "3")
    for one in told(parts):
        start = re.sub(r"\W+", "", " ".join(one.split()[:4])).casefold().replace("³", "3")
        assert start in words, one


def test_the_same_answer_gives_the_same_paper(parts: tuple[Chapter, ...], bound: Bound) -> None:
    few = parts[:2]
    made = [bound_pdf.pdf(bound.title, bound.comparison.scenario, few) for _ in range(2)]
    assert made[0] == made[1]
    plain = [bound_plain.pdf(bound.title, "x", few[:1]) for _ in range(2)]
    assert plain[0] == plain[1]


@pytest.mark.parametrize("extra", [True, False])
def test_words_of_a_scenario_are_only_words_on_paper(extra: bool, tmp_path: Path,
                                                     monkeypatch: pytest.MonkeyPatch) -> None:
    if not extra:
        monkeypatch.setitem(sys.modules, "typst", None)
    part = Chapter("x", HOSTILE, (Words(HOSTILE), Points((HOSTILE,)), Heading(HOSTILE),
                                  Grid((HOSTILE, "b"), ((HOSTILE, "1"),), HOSTILE)))
    made = bound_pdf.pdf(HOSTILE, api.ScenarioNote(HOSTILE, HOSTILE), [part, part])
    assert "script" in content(made, tmp_path)


def test_words_of_a_scenario_are_only_words_on_screen(bound: Bound) -> None:
    from simfan.report.bound_web import _block

    for block in (Words(HOSTILE), Points((HOSTILE,)), Heading(HOSTILE),
                  Grid((HOSTILE, "b"), ((HOSTILE, "1"), (HOSTILE,)), HOSTILE)):
        assert "<script>" not in str(_block(block))


def test_an_unknown_strategy_is_told_before_anything_is_run(tmp_path: Path) -> None:
    found = CliRunner().invoke(main, ["report", str(SMALL), "--out", str(tmp_path / "o"),
                                      "--strategy", "dampr"])
    assert found.exit_code == 2
    assert "did you mean damper?" in found.output


def test_a_folder_without_sheets_is_told(tmp_path: Path) -> None:
    found = CliRunner().invoke(main, ["replay", str(tmp_path)])
    assert found.exit_code == 2
    assert "holds no sheets" in " ".join(found.output.split())
