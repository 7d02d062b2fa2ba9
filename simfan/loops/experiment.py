"""A two-way bump test on the simulated plant.

It runs in manual from rest, in the kernel, through the strategy's own actuators, transmitter, noise
and scans, and is judged by its record alone, as on a plant.
"""

from contextlib import suppress
from dataclasses import dataclass, fields
from math import isfinite, sqrt
from typing import Any

import numpy as np
from scipy.stats import t as student

from simfan.errors import RunError
from simfan.experiment_answer import BumpTest, FittedModel, PlantModel, Record
from simfan.loops import identify
from simfan.loops.models import FirstOrder, SecondOrder
from simfan.loops.moves import chosen_size, hold_time
from simfan.loops.rig import Rig, rig
from simfan.plant.case import Case
from simfan.steady.bench import Array

SIDES = np.array([0.0, 1.0, 0.0, -1.0, 0.0])
"""Of the output, hold by hold: at rest, up, back, down, back."""
RESTS = 0.3
"""Share of a hold, at its end, whose mean is the reading at rest."""
POOR = 0.25
"""Half width of the gain's or the lag's band, of its value, that is told as poor."""
SLIGHT = 0.03
"""Share of the move below which no dead band is told."""
UNEVEN = 1.25
"""Gains of the moves up and down that differ by so much are told."""
ASSUMED = (
    "each element stands in the middle of its play at the start",
    "the 95 % bands hold for errors that know nothing of one another: slow disturbances, stick and "
    "a characteristic that bends make the truth wider",
)


@dataclass(frozen=True)
class Levels:
    """What the readings at rest r₀ … r₄ tell.

    Drift and play tell themselves apart: both bring the reading back beside where it was, play to
    opposite sides. Freed of drift r₁ = K(s − b/2), r₂ = Kb/2, r₃ and r₄ the negatives; b is what a
    turn loses.
    """

    drift: float
    """(r₂ + r₄ − 2r₀)/(t₂ + t₄ − 2t₀) [span/s]."""
    since: float
    """t₀ [s]."""
    up: float
    """(r₁ + r₂)/s; without play (r₁ − (r₀ + r₂)/2)/s, which no steady drift bends [1]."""
    down: float
    """−(r₃ + r₄)/s; without play −(r₃ − (r₂ + r₄)/2)/s [1]."""
    dead_band: float
    """b = (r₂ − r₄)/K of the output [1]; 0 where noise hides it."""
    noise: float
    """Standard deviation before the first move [span]."""


def bump_test(case: Case, name: str, held: float, size: float | None = None, drift: float = 0.0,
              noise: float | None = None) -> BumpTest:
    """Up, back, down, back in the output, by `size` [1], and models of the answer.

    `drift` is how far the process resistance drifts over the test [1]; `noise` [share of the raw
    span] takes the place of the transmitter's. Raises RunError where the strategy is not at rest
    there, the move does not fit, or the reading does not answer.
    """
    stand = rig(noisy(case, noise), name, held)
    move, findings = chosen_size(stand, size)
    hold = hold_time(stand, move)

    def switch(time: float, reading: float) -> float:
        return stand.output + move * float(SIDES[_hold_of(time, hold)])

    record = stand.run(SIDES.size * hold, switch, drift)
    return _judged(stand, move, hold, record, findings)


def noisy(case: Case, noise: float | None) -> Case:
    """The case with this noise of its transmitter [share of the raw span]."""
    if noise is None:
        return case
    transmitter = case.control.transmitter.model_copy(update={"noise": noise})
    control = case.control.model_copy(update={"transmitter": transmitter})
    return case.model_copy(update={"control": control})


def _hold_of(time: Array | float, hold: float) -> Any:
    """Which of the holds a time belongs to."""
    return np.minimum(np.floor((time + 1e-9) / hold).astype(int), SIDES.size - 1)


def _judged(stand: Rig, move: float, hold: float, record: Record, findings: tuple[str, ...]
            ) -> BumpTest:
    """The record's levels and models."""
    found, width = _levels(stand, move, hold, record), stand.width
    fits = _fits(record, found, move, hold, width)
    return BumpTest(
        **where(stand), size=move, record=record,
        findings=(*findings, *_said_of_levels(found, move), *_said_of_fit(fits[0], found, move)),
        hold=hold, linear=_as_linear(stand), fits=fits, gain_up=found.up, gain_down=found.down,
        drift=width * found.drift, dead_band=found.dead_band, noise=found.noise,
        moved=_moved(stand, record), assumed=ASSUMED)


def _levels(stand: Rig, move: float, hold: float, record: Record) -> Levels:
    """From the readings at the end of each hold. Raises RunError where noise drowns them."""
    late = record.time - hold * _hold_of(record.time, hold) >= (1.0 - RESTS) * hold
    ends = [late & (_hold_of(record.time, hold) == k) for k in range(SIDES.size)]
    reading = record.reading / stand.width
    level = np.array([reading[inside].mean() for inside in ends])
    when = np.array([record.time[inside].mean() for inside in ends])
    drift = float((level[2] + level[4] - 2.0 * level[0]) / (when[2] + when[4] - 2.0 * when[0]))
    r = level - level[0] - drift * (when - when[0])
    noise = float(reading[record.time <= hold].std())
    up = float(r[1] - 0.5 * (r[0] + r[2])) / move
    down = -float(r[3] - 0.5 * (r[2] + r[4])) / move
    gain, unsure = 0.5 * abs(up + down), 2.0 * noise / sqrt(ends[0].sum())
    if gain * move <= unsure or gain == 0.0:
        raise RunError(f"{stand.name}: the reading's answer to a move of ±{100.0 * move:.3g} % is "
                       f"lost in the noise ({100.0 * noise:.3g} % of span); take a larger move, "
                       "or a longer filter")
    band = 2.0 * move * float((r[2] - r[4]) / (r[1] + r[2] - r[3] - r[4]))
    if band < max(sqrt(2.0) * unsure / gain, SLIGHT * move):
        return Levels(drift, float(when[0]), up, down, 0.0, noise)
    return Levels(drift, float(when[0]), float(r[1] + r[2]) / move, -float(r[3] + r[4]) / move,
                  band, noise)


def _fits(record: Record, found: Levels, move: float, hold: float, width: float
          ) -> tuple[FittedModel, ...]:
    """First order; second order too where it can be told. To the moves less what turns lose."""
    line = found.drift * (record.time - found.since)
    after_play = 0.5 * found.dead_band * np.array([0.0, -1.0, 1.0, 1.0, -1.0])
    moved = (record.output[0] + move * SIDES + after_play)[_hold_of(record.time, hold)]
    reading = record.reading / width - line
    fits = [identify.fit_first_order(record.time, reading, moved)]
    with suppress(RunError):
        fits.append(identify.fit_second_order(record.time, reading, moved))
    return tuple(_fitted(fit, record.time, moved, line, width) for fit in fits)


def _fitted(fit: identify.Fit, time: Array, moved: Array, line: Array, width: float) -> FittedModel:
    """With its curve over the record, and that curve's band: t·√(s²·J(JᵀJ)⁻¹Jᵀ). Textbooks; from
    memory."""
    p = fit.process
    names = [f.name for f in fields(p)]
    at = np.array([getattr(p, name) for name in names])
    curve = _answer(type(p), at, time, moved)
    slopes = [(_answer(type(p), at + half, time, moved) - _answer(type(p), at - half, time, moved))
              / (2.0 * half.sum()) for half in np.diag(np.maximum(1e-4 * np.abs(at), 1e-6))]
    jacobian = np.column_stack([*slopes, np.ones_like(curve)])
    free = curve.size - jacobian.shape[1]
    share = np.einsum("ij,jk,ik->i", jacobian, np.linalg.pinv(jacobian.T @ jacobian), jacobian)
    spread = fit.left * np.sqrt(curve.size / free * np.maximum(share, 0.0))
    model = {name: float(value) for name, value in zip(names, at, strict=True)}
    return FittedModel(
        PlantModel(model["gain"], model["lag"], model.get("second_lag"), model["dead_time"]),
        {k: float(v) for k, v in fit.half_width.items()}, fit.left,
        width * (fit.start + curve + line),
        width * student.ppf(0.5 + 0.5 * identify.CONFIDENCE, free) * spread)


def _answer(kind: type[FirstOrder] | type[SecondOrder], numbers: Array, time: Array, moved: Array
            ) -> Array:
    """(n,) Σ step_k·h(t − t_k) of a model with these numbers [span]."""
    by = np.diff(moved)
    at = np.flatnonzero(by)
    return np.asarray(by[at] @ kind(*numbers.tolist()).step(time - time[at + 1, None]))


def _said_of_levels(found: Levels, move: float) -> list[str]:
    said = []
    if found.dead_band > 0.0:
        said.append(f"turns lose {100.0 * found.dead_band:.3g} % of output to play or stick; that "
                    "was taken out of the moves before the fit")
    one, other = sorted((abs(found.up), abs(found.down)))
    if other > UNEVEN * one:
        said.append(f"the gain is {found.up:.3g} up and {found.down:.3g} down (% per %): the "
                    "characteristic bends, or an element sticks; the models show a mean")
    return said


def _said_of_fit(plain: FittedModel, found: Levels, move: float) -> list[str]:
    said = []
    for name, value in (("gain", plain.model.gain), ("lag", plain.model.lag)):
        wide = plain.half_width[name]
        if not isfinite(wide) or wide > POOR * abs(value):
            said.append(f"the {name} of the first order, {value:.3g}, is known to ±{wide:.2g} "
                        f"only: with a noise of {100.0 * found.noise:.2g} % of span a larger move "
                        f"than {100.0 * move:.3g} % is needed, or several tests")
    return said


def _moved(stand: Rig, record: Record) -> dict[str, float]:
    """How far each element moved, of how far its sequence told it to."""
    told = np.array([stand.positions(u) for u in np.unique(record.output)])
    return {element.name: float(np.ptp(record.position[:, a]) / np.ptp(told[:, a]))
            for a, element in enumerate(stand.assembled.elements) if np.ptp(told[:, a]) > 0.0}


def _as_linear(stand: Rig) -> PlantModel:
    p = stand.process
    return PlantModel(p.gain, p.lag, None, p.dead_time)


def where(stand: Rig) -> dict[str, Any]:
    """What every test tells of where it stood."""
    case, low = stand.case, float(stand.assembled.plant.transmitters[0].low)
    return {"title": case.title, "strategy": stand.name,
            "method": case.strategies[stand.name].method, "holds": case.control.holds,
            "held_kind": case.control.held_kind, "span": (low, low + stand.width),
            "scan": case.control.scan, "held": float(stand.rest.held), "output": stand.output,
            "elements": tuple(e.name for e in stand.assembled.elements)}
