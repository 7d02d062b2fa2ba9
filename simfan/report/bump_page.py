"""The pages of `simfan bump` and `simfan relay`: the test, what it found, its record drawn."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from math import degrees
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType

from simfan.experiment_answer import BumpTest, FittedModel, LoopTest, PlantModel, RelayTest
from simfan.report.items import item
from simfan.report.sections import Drawing, Section
from simfan.report.tune_tables import Rows
from simfan.units import System, show, significant

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FIELDS = ("gain", "lag", "second_lag", "dead_time")
"""Of a model, in the order of the columns."""
CAUTIONS = (
    "A test on the model. On the plant, agree every move with the operators, stay clear of the "
    "stall line, of furnace draft limits and of the motor's rating, and have a way back to "
    "automatic ready.",
    "The maker's curve and stall line, local codes and licensed practice rule.",
)


def _where(test: LoopTest, system: System) -> str:
    kind = test.held_kind
    return (f"{test.strategy} ({test.method}), in manual at {show(test.held, kind, system)} and "
            f"{significant(100.0 * test.output)} % output")


def _bump(test: BumpTest, system: System) -> RenderableType:
    return Group(
        item(_where(test, system)),
        item(f"output up, back, down, back by {significant(100.0 * test.size)} %, each held for "
             f"{significant(test.hold)} s"))


def _models(test: BumpTest, system: System) -> RenderableType:
    heads = ("", "gain\n% per %", "lag\ns", "second\nlag s", "dead\ntime s", "left\n% of span")
    rows = [_row("slopes at the point", test.linear)]
    for fit in test.fits:
        order = "first" if fit.model.second_lag is None else "second"
        rows += [_row(f"{order} order", fit.model, fit), _bands(fit)]
    return Rows(heads, lambda miss: rows)


def _row(name: str, model: PlantModel, fit: FittedModel | None = None) -> list[str]:
    values = (getattr(model, field) for field in FIELDS)
    left = significant(100.0 * fit.left, 2) if fit else "-"
    return [name, *("-" if v is None else significant(v) for v in values), left]


def _bands(fit: FittedModel) -> list[str]:
    widths = (fit.half_width.get(field) for field in FIELDS)
    return ["  95 % band, ±", *("-" if w is None else significant(w, 2) for w in widths), ""]


def _seen(test: BumpTest, system: System) -> RenderableType:
    lines = [
        f"gain {significant(test.gain_up)} up and {significant(test.gain_down)} down, % per %",
        "dead band: " + (f"{significant(100.0 * test.dead_band, 2)} % of output"
                         if test.dead_band else "none that stands out"),
        f"noise before the first move: {significant(100.0 * test.noise, 2)} % of span",
        f"drift taken out before the fit: {show(60.0 * test.drift, test.held_kind, system)} in a "
        "minute",
        *(f"{name}: moved by {significant(100.0 * share)} % of what it was told"
          for name, share in test.moved.items())]
    return Group(*map(item, lines))


def _relay(test: RelayTest, system: System) -> RenderableType:
    kind = test.held_kind
    return Group(
        item(_where(test, system)),
        item(f"output switched by ±{significant(100.0 * test.size)} % whenever the reading leaves "
             f"a band of ±{show(test.hysteresis, kind, system)}"))


def _swing(test: RelayTest, system: System) -> RenderableType:
    heads = ("", "gain\n% per %", "period\ns", "phase\n°")
    rows = [["relay test", significant(test.ultimate_gain), significant(test.ultimate_period),
             f"{degrees(test.phase):.0f}"]]
    if test.linear_gain is not None and test.linear_period is not None:
        rows.append(["slopes at the point, limit of stability", significant(test.linear_gain),
                     significant(test.linear_period), "-180"])
    swing = f"the reading swings by ±{show(test.swing, test.held_kind, system)}"
    return Group(Rows(heads, lambda miss: rows), item(swing))


def _findings(test: LoopTest, system: System) -> RenderableType | None:
    return Group(*map(item, test.findings)) if test.findings else None


def _drawings(test: BumpTest | RelayTest, system: System) -> Iterable[Drawing]:
    name = "bump" if isinstance(test, BumpTest) else "relay"
    yield Drawing(name, partial(_draw, test, system))


def _draw(test: BumpTest | RelayTest, system: System, flat: bool) -> Figure:
    from simfan.report.bump_picture import picture

    return picture(test, system)


RECORD: Section[BumpTest | RelayTest] = Section("test-record", "The record", drawings=_drawings)
FINDINGS: Section[LoopTest] = Section("test-findings", "Worth knowing", text=_findings)
ASSUMED: Section[LoopTest] = Section(
    "test-assumed", "Assumed", text=lambda test, _: Group(*map(item, test.assumed)))
CAUTION: Section[LoopTest] = Section(
    "test-cautions", "Be careful", text=lambda test, _: Group(*map(item, CAUTIONS)))
SAYS = "One loop, in manual, in the simulated plant."
BUMP = (Section("bump-test", "Bump test", text=_bump),
        Section("bump-models", "Models of the answer, with 95 % bands", text=_models),
        Section("bump-seen", "Seen in the record", text=_seen), FINDINGS, RECORD, ASSUMED, CAUTION)
RELAY = (Section("relay-test", "Relay test", text=_relay),
         Section("relay-swing", "The swing", text=_swing), FINDINGS, RECORD, ASSUMED, CAUTION)
