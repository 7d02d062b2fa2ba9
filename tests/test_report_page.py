"""The HTML page of a comparison, read as text. Runs are drawn by hand: `synthetic`."""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import numpy as np
import pytest
from markupsafe import Markup
from rich.console import Group
from rich.table import Table
from rich.text import Text

from simfan.compare import Comparison, compare
from simfan.history import History
from simfan.plant.case import Criteria
from simfan.report import files, markup, page, thinning, web
from simfan.report.items import item
from simfan.report.sections import Fragment, Section
from simfan.report.terminal import Words
from simfan.report.wording import reworded
from simfan.units import System
from tests import synthetic

HOSTILE_TITLE = "Kiln <script>window.hacked = 1</script> & more"
HOSTILE_NAME = "vanes \"fast\" 'x' </script><script>window.hacked = 2</script> $$\\frac{1}{2}$$"
CRITERIA = Criteria(time_outside_band=60.0, stall_margin=0.05, settling_time=30.0)
SEQUENCE = {"outlet damper": ((0.0, 0.3), (0.5, 0.35), (1.0, 1.0))}
DEFAULT = "motor.slip = 1 % (default: common practice, no source)"
OWN = f"strategies.{HOSTILE_NAME}.speed.lag = 0.2 s (default: from memory)"


def named(run: History, **facts: object) -> History:
    return replace(run, facts=replace(run.facts, title=HOSTILE_TITLE, **facts))  # type: ignore[arg-type]


@cache
def comparison() -> Comparison:
    surging = synthetic.history("damper-at-kiln", surge=(190.0, 258.0))
    speed = synthetic.history("variable-speed", "variable speed")
    return compare([named(surging, sequence=SEQUENCE, assumed=(DEFAULT,)),
                    named(speed, strategy=HOSTILE_NAME, assumed=(DEFAULT, OWN))], CRITERIA)


@cache
def text(system: System = "si") -> str:
    return files.on_page(comparison(), system)


class Cells(HTMLParser):
    """The cells of every table: (section, column's heading, row's heading, words)."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self.found: list[tuple[str, str, str, str]] = []
        self.section, self._head, self._row, self._open = "", [""], [""], False
        self.feed(source)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "section":
            self.section = str(dict(attrs)["id"])
        if tag == "thead":
            self._head = []
        if tag == "tr":
            self._row = []
        if tag in ("td", "th"):
            self._row.append("")
            self._open = True

    def handle_data(self, data: str) -> None:
        if self._open:
            self._row[-1] += data

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self._open = False
        if tag == "thead":
            self._head = self._row
        if tag == "tr" and self._row is not self._head:
            for head, words in zip(self._head[1:], self._row[1:], strict=False):
                self.found.append((self.section, head, self._row[0], words))


def numbers(found: object) -> Iterator[float]:
    """Every number of a JSON value, those in its sentences, too; of frequencies the period."""
    if isinstance(found, dict):
        for key, value in found.items():
            yield from numbers(value)
            if str(key).endswith("_hz") and value:
                yield 1.0 / value
    elif isinstance(found, list):
        for value in found:
            yield from numbers(value)
    elif isinstance(found, str):
        yield from map(float, re.findall(r"-?\d+(?:\.\d+)?", found))
    elif isinstance(found, (int, float)) and not isinstance(found, bool):
        yield float(found)


FACTORS = {
    "si": (1.0, 100.0),  # a fraction is shown in percent
    # 1 cfm = 0.3048³/60 m³/s, 1 in. w.g. = 249.089 Pa, 1 ft³ = 0.3048³ m³
    "us": (1.0, 100.0, 60.0 / 0.3048**3, 1.0 / 249.089, 0.3048**3),
}


def stands_in(shown: str, pool: set[float], system: str) -> bool:
    """Whether a number in the pool comes out as `shown` at its printed digits.

    Sentences of the results are cut to four digits before they are converted, so to 5e-4.
    """
    half = 0.51 * 10.0 ** -len(shown.partition(".")[2])
    digits = len(shown.strip("-0").replace(".", ""))
    value = float(shown)
    slack = max(half, 5e-4 * abs(value)) if system == "us" else half
    assert digits < 7
    return any(abs(x * f - value) <= slack for x in pool for f in FACTORS[system])


@pytest.mark.parametrize("system", ["si", "us"])
def test_every_number_in_a_table_stands_in_the_result_file(system: System) -> None:
    """A column or row of one strategy is held against that strategy's own part."""
    told = json.loads(files.as_json(comparison()))
    own = {s["name"]: {*numbers(s), *numbers(told["criteria"])} for s in told["strategies"]}
    everything = {*numbers(told)}
    seen = 0
    for section, head, row, words in Cells(text(system)).found:
        pool = own.get(head) or own.get(row) or everything
        for shown in re.findall(r"(?<![\w.])-?\d+(?:\.\d+)?", words.replace(HOSTILE_NAME, "")):
            seen += 1
            assert stands_in(shown, pool, system), (section, head, row, words, shown)
    assert seen > 100


def test_a_number_that_is_not_in_the_result_file_would_be_seen() -> None:
    told = json.loads(files.as_json(comparison()))
    energy = told["strategies"][0]["energy"]["electrical_kwh"]
    pool = {*numbers(told)}
    assert stands_in(f"{energy:.3g}", pool, "si")
    assert not stands_in("63.17", pool, "si")


def test_what_a_scenario_says_cannot_become_markup_or_script() -> None:
    assert "<script>window.hacked" not in text()
    assert "</script><script>window" not in text()
    assert text().count("<script>") == 2, "the library and the trends"
    assert "Kiln &lt;script&gt;" in text()


def test_the_page_names_no_other_place_to_fetch_from() -> None:
    outside = text().replace(str(web._library()), "")
    assert re.findall(r'(?:src|href)="(?!#|data:)[^"]*"', outside) == []
    assert "default-src 'none'" in outside
    assert "@import" not in outside


def test_question_and_answer_come_first() -> None:
    words = re.sub(r"<[^>]+>", " ", text()[text().index("<main>"):])
    assert words.split()[:5] == ["Which", "strategies", "meet", "the", "criteria?"]
    assert "1 of 2 strategies meet the criteria: vanes" in words[:400]


def test_a_miss_has_a_sign_beside_its_colour() -> None:
    missed = re.findall(r'class="[^"]*\bmiss\b[^"]*">([^<]*)', text())
    assert len(missed) > 3
    assert all(words.startswith("✗") for words in missed)


def test_pictures_on_one_page_share_no_id() -> None:
    ids = re.findall(r'\bid="([^"]+)"', text()[: text().index("<script>")])
    assert len(ids) > 100
    assert len(ids) == len(set(ids))
    for target in re.findall(r'(?:href="|url\()#([^")]+)', text()[: text().index("<script>")]):
        assert target in ids


def test_every_section_of_the_page_is_named_once() -> None:
    keys = [section.key for section in page.ON_PAGE]
    assert len(keys) == len(set(keys))


def test_cautions_defaults_and_sources_are_on_the_page() -> None:
    for words in ("maker&#39;s curve and stall line, local codes and licensed practice rule",
                  "motor.slip", "common practice, no source", "speed.lag", "Sequence tables"):
        assert words in text(), words


def test_the_same_result_gives_the_same_page_but_for_the_plot_s_own_marks() -> None:
    """Bokeh numbers its plots anew in each process; all else is the same to the byte."""
    again = files.on_page(comparison(), "si")
    assert again.split("<script>")[0].split('id="zoomable"')[0] == (
        text().split("<script>")[0].split('id="zoomable"')[0])


# Sections as HTML.


def one(section: Section[None]) -> web.Part:
    return next(iter(web.parts(None, "si", [section])))  # type: ignore[arg-type]


def terminal_table() -> Table:
    table = Table()
    table.add_column("name")
    table.add_column("damper-\nat-fan", justify="right")
    table.add_row(Words("Energy", style="bold"), Words(""))
    table.add_row(Words(" at the shaft [kWh]"), Words("✗ 4.2", style="bold red"))
    return table


def test_a_section_s_text_becomes_paragraphs_lists_and_real_tables() -> None:
    said = Group(Words("Two <things>"), item("first, 3 m3/s"), item("second"), terminal_table())
    body = one(Section("mine", "A finding", text=lambda c, s: said)).body
    assert "<p>Two &lt;things&gt;</p>" in body
    assert "<ul><li>first, 3 m³/s</li><li>second</li></ul>" in body
    assert '<th scope="col">damper-at-fan</th>' in body
    assert '<th colspan="2" scope="colgroup">Energy</th>' in body
    assert '<td class="miss">✗ 4.2</td>' in body


def test_a_section_with_nothing_to_say_is_not_on_the_page() -> None:
    silent = Section[None]("silent", "Nothing", text=lambda c, s: None)
    assert list(web.parts(None, "si", [silent])) == []  # type: ignore[arg-type]


def test_a_section_may_say_more_on_a_page_than_on_a_terminal() -> None:
    section = Section[None]("more", "More", text=lambda c, s: Text("less"),
                            html=lambda c, s: Fragment(Markup("<p>more</p>")))
    assert one(section).body == "<p>more</p>"


def test_a_page_without_plots_carries_no_library() -> None:
    plain = Section[Comparison]("plain", "Plain", text=lambda c, s: Text("words"))
    assert len(web.page(comparison(), "si", [plain])) < 10_000


def test_numbers_stand_on_the_right_and_words_on_the_left() -> None:
    assert markup.cell("4.2") == '<td class="number">4.2</td>'
    assert markup.cell("1 + 1") == '<td class="number">1 + 1</td>'
    assert markup.cell("1.5 kW") == '<td class="">1.5 kW</td>'


# Fewer points.


def test_thinning_keeps_the_swing_of_every_stretch() -> None:
    time = np.arange(60_000) * 0.025
    swing = np.where(time > 500.0, 30.0 * np.sin(2.0 * np.pi * time / 1.06), 0.1 * time)
    stay = thinning.kept(time, swing, buckets=1000)
    assert len(stay) <= 2010
    for start in range(0, 60_000, 120):  # two buckets: each has a whole one within
        near = stay[(stay >= start - 60) & (stay < start + 180)]
        part = swing[start : start + 120]
        reach = thinning.PASSES * thinning.STRAIGHT * np.ptp(swing)
        between = np.interp(time[start : start + 120], time[stay], swing[stay])
        assert max(between.max(), *swing[near], -99.0) >= part.max() - reach
        assert min(between.min(), *swing[near], 99.0) <= part.min() + reach


def test_a_straight_line_needs_few_points_and_a_peak_stays() -> None:
    time = np.linspace(0.0, 100.0, 20_000)
    line = 3.0 * time
    assert len(thinning.kept(time, line)) < 50
    line[7777] = 1000.0
    assert 7777 in thinning.kept(time, line)


def test_a_broken_line_stays_broken() -> None:
    time = np.linspace(0.0, 100.0, 20_000)
    values = np.sin(time)
    values[5000:9000] = np.nan
    left = values[thinning.kept(time, values, buckets=500)]
    assert np.isnan(left).any()
    kept = thinning.kept(time, values, buckets=500)
    assert {4999, 5000, 8999, 9000} <= set(kept)


# Sentences in the reader's units.


@pytest.mark.parametrize(
    ("si", "us"),
    [
        # 1 cfm = 0.3048³/60 m³/s: 36 m³/s = 76279.6 cfm, 27 m³/s = 57209.7 cfm
        ("setpoint 36 → 27 m3/s over 20 s", "setpoint 76280 → 57210 cfm over 20 s"),
        # 8500 cfm = 4.01155 m³/s, told as 4.012
        ("setpoint 3.658 → 4.012 m3/s", "setpoint 7750 → 8500 cfm"),
        # 1 in. w.g. = 249.089 Pa
        ("down to -1846 Pa, allowed -400 Pa", "down to -7.41 in. w.g., allowed -1.606 in. w.g."),
        ("density 1.2 kg/m3, 3 s, 100 → 125 %", "density 1.2 kg/m3, 3 s, 100 → 125 %"),
    ],
)
def test_a_sentence_is_told_in_the_reader_s_units(si: str, us: str) -> None:
    assert reworded(si, "us") == us
    assert reworded(si, "si") == si


def test_in_us_units_no_sentence_of_the_terminal_speaks_of_cubic_metres() -> None:
    assert "m3/s" not in files.on_paper(comparison(), "us", page.COMPARISON)
