"""A two-way bump test on the simulated plant.

It runs in manual from rest, in the kernel, through the strategy's own actuators, transmitter, noise
and scans, and is judged by its record alone, as on a plant.
"""

from contextlib import suppress
from dataclasses import fields
from math import ceil, isfinite, sqrt
from typing import Any

import numpy as np
from scipy.stats import t as student

from simfan.errors import RunError
from simfan.experiment_answer import (
    BumpTest,
    FittedModel,
    PlantModel,
    Record,
)
from simfan.loops import identify
from simfan.loops.models import FirstOrder, SecondOrder
from simfan.loops.rig import Rig, rig
from simfan.plant.case import Case
from simfan.steady.bench import Array

USUAL = 0.03
"""Move of the output unless told. Common practice, no source: 2 to 5 %."""
MOST = 0.10
"""Largest move that is chosen by itself."""
OVER_NOISE = 10.0
"""The reading's answer over the noise's standard deviation, where the move is chosen."""
OVER_LOST = 5.0
"""The move over what play and stick may swallow, where the move is chosen."""
SETTLING = 5.0
"""Each output is held for so many times lag + dead time: what is missing then is 1 %."""
LEAST_SCANS = 12
"""Each output is held for so many scans at the least."""
RESTS = 0.4
"""Share of a hold, at its end, whose mean is the reading at rest."""
POOR = 0.25
"""Half width of the gain's or the lag's band, of its value, that is told as poor."""
SLIGHT = 0.02
"""Share of the move below which no dead band is told."""
UNEVEN = 1.25
"""Gains of the moves up and down that differ by so much are told."""
RAMPING = 0.3
"""Time that an element's rate limit takes for the move, of lag + dead time, that is told."""
ASSUMED = (
    "each element stands in the middle of its play at the start (assumed)",
    "the 95 % bands hold for errors that know nothing of one another: slow disturbances, stick and "
    "a characteristic that bends make the truth wider",
)


def bump_test(case: Case, name: str, held: float, size: float | None = None, drift: float = 0.0,
              noise: float | None = None) -> BumpTest:
    """Up, back, down, back in the output, by `size` [1], and models of the answer.

    `drift` is how far the process resistance drifts over the test [1]; `noise` [share of the raw
    span] takes the place of the transmitter's. Raises RunError where the strategy is not at rest
    there, the move does not fit, or the reading does not answer.
    """
    stand = rig(noisy(case, noise), name, held)
    move, findings = chosen_size(stand, size)
    hold = _hold(stand, move)
    outputs = stand.output + move * np.array([0.0, 1.0, 0.0, -1.0, 0.0])

    def switch(time: float, reading: float) -> float:
        return float(outputs[min(int((time + 1e-9) / hold), 4)])

    record = stand.run(5.0 * hold, switch, drift)
    return _judged(stand, move, hold, record, findings)


def noisy(case: Case, noise: float | None) -> Case:
    """The case with this noise of its transmitter [share of the raw span]."""
    if noise is None:
        return case
    transmitter = case.control.transmitter.model_copy(update={"noise": noise})
    control = case.control.model_copy(update={"transmitter": transmitter})
    return case.model_copy(update={"control": control})


def _hold(stand: Rig, move: float) -> float:
    """How long each output is held, in whole scans [s]: until the slowest element has moved and
    what it moves has settled."""
    scan, p = stand.case.control.scan, stand.process
    longest = max(_times(stand, move), default=0.0)
    return max(ceil((longest + SETTLING * (p.lag + p.dead_time)) / scan), LEAST_SCANS) * scan


def _times(stand: Rig, move: float) -> list[float]:
    """Of each element at its rate limit for the move [s]."""
    each = stand.assembled.plant.actuators.each
    down, rest, up = (stand.positions(stand.output + side * move) for side in (-1.0, 0.0, 1.0))
    return [float(max(abs(up[a] - rest[a]), abs(down[a] - rest[a]))
                  / min(each.rate_up[a], each.rate_down[a])) for a in range(rest.size)]


def chosen_size(stand: Rig, wanted: float | None) -> tuple[float, tuple[str, ...]]:
    """The move, and what is to be said of it."""
    low, high = stand.ends
    room = min(high - stand.output, stand.output - low)
    lost = _lost(stand)
    if wanted is None:
        noise = stand.case.control.transmitter.noise
        enough = max(USUAL, OVER_LOST * lost, OVER_NOISE * noise / abs(stand.process.gain))
        wanted = min(enough, MOST, room)
    if not 0.0 < wanted <= room + 1e-12:
        raise RunError(f"a move of ±{100.0 * wanted:.3g} % about {100.0 * stand.output:.4g} % "
                       f"leaves the output's limits of {100.0 * low:.4g} to {100.0 * high:.4g} %; "
                       f"there is room for {100.0 * room:.3g} %")
    if wanted <= _first_lost(stand):
        raise RunError(f"a move of ±{100.0 * wanted:.3g} % of output is swallowed by the play and "
                       f"stick of the elements, up to {100.0 * lost:.3g} %: nothing would move; "
                       f"--size {100.0 * min(OVER_LOST * lost, room):.2g}% shows more")
    return wanted, tuple(_said_ofchosen_size(stand, wanted, lost))


def _said_ofchosen_size(stand: Rig, move: float, lost: float) -> list[str]:
    """Where play and stick, an element's end, or its rate spoils the test."""
    said = []
    if move < OVER_LOST * lost:
        said.append(f"play and stick take up to {100.0 * lost:.3g} % of output out of each turn of "
                    f"the {100.0 * move:.3g} % move: the gain is shown too low; the move should be "
                    f"{OVER_LOST:g} times as large (common practice, no source)")
    at = [stand.positions(stand.output + side * move) for side in (-1.0, 0.0, 1.0)]
    times = _times(stand, move)
    for a, element in enumerate(stand.assembled.elements):
        down, up = float(at[1][a] - at[0][a]), float(at[2][a] - at[1][a])
        if abs(up - down) > 0.02 * max(abs(up), abs(down), 1e-6):
            said.append(f"{element.name}: told to move by {100.0 * up:+.3g} % up and "
                        f"{-100.0 * down:+.3g} % down: its sequence turns a corner or ends within "
                        "the move, so the gain is a mean of two; take a smaller move")
        if times[a] > RAMPING * (stand.process.lag + stand.process.dead_time):
            said.append(f"{element.name}: its rate limit takes {times[a]:.3g} s for the move, "
                        "which the fits show as lag and dead time that small moves do not have")
    return said


def _lost(stand: Rig) -> float:
    """Most output lost at a turn: (b + r)/share of the element that loses most [1]."""
    each, share = stand.assembled.plant.actuators.each, np.abs(stand.linear.share)
    return max((float((each.backlash[a] + each.stick[a]) / share[a])
                for a in range(share.size) if share[a] > 0.0), default=0.0)


def _first_lost(stand: Rig) -> float:
    """Output below which no element stirs from the middle of its play [1]."""
    each, share = stand.assembled.plant.actuators.each, np.abs(stand.linear.share)
    return min((float((0.5 * each.backlash[a] + each.stick[a]) / share[a])
                for a in range(share.size) if share[a] > 0.0), default=0.0)


def _judged(stand: Rig, move: float, hold: float, record: Record, findings: tuple[str, ...]
            ) -> BumpTest:
    """The record's models, drift, dead band and noise."""
    starts, width = hold * np.arange(5), stand.width
    ends = [(record.time > at + (1.0 - RESTS) * hold) & (record.time <= at + hold)
            for at in starts]
    level = np.array([record.reading[inside].mean() for inside in ends])
    when = np.array([record.time[inside].mean() for inside in ends])
    drift = float((level[2] + level[4] - 2.0 * level[0]) / (when[2] + when[4] - 2.0 * when[0]))
    flat = level - drift * (when - when[0])
    noise = float(record.reading[record.time <= hold].std()) / width
    up, down = ((flat[k] - flat[k - 1]) / width / (outward * move)
                for k, outward in ((1, 1.0), (3, -1.0)))
    gain = 0.5 * abs(up + down)
    if gain * move * width <= 2.0 * noise * width / sqrt(ends[0].sum()) or gain == 0.0:
        raise RunError(f"{stand.name}: the reading's answer to a move of ±{100.0 * move:.3g} % is "
                       f"lost in the noise ({100.0 * noise:.3g} % of span); take a larger move, "
                       "or a longer filter")
    band = _beyond(abs(float(flat[2] - flat[4])) / width / gain, noise / gain, ends[0].sum(), move)
    fits = _fits(record, drift, when[0], width)
    return BumpTest(
        **where(stand), size=move, record=record,
        findings=(*findings, *_said_of_record(stand, fits, up, down, noise, move)),
        hold=hold, linear=_as_linear(stand), fits=fits, gain_up=float(up), gain_down=float(down),
        drift=drift, dead_band=band, noise=noise, moved=_moved(stand, record))


def _beyond(band: float, noise: float, n: int, move: float) -> float:
    """The dead band where it stands out from noise and from what has not settled, else 0."""
    return band if band > 2.0 * noise * sqrt(2.0 / n) and band > SLIGHT * move else 0.0


def _fits(record: Record, drift: float, since: float, width: float) -> tuple[FittedModel, ...]:
    """First order; second order too where it can be told."""
    line = drift * (record.time - since)
    reading = (record.reading - line) / width
    found = [identify.fit_first_order(record.time, reading, record.output)]
    with suppress(RunError):
        found.append(identify.fit_second_order(record.time, reading, record.output))
    return tuple(_fitted(fit, record, line, width) for fit in found)


def _fitted(fit: identify.Fit, record: Record, line: Array, width: float) -> FittedModel:
    """With its curve over the record."""
    p = fit.process
    names = [f.name for f in fields(p)]
    at = np.array([getattr(p, name) for name in names])
    curve = _answer(type(p), at, record)
    slopes = [(_answer(type(p), at + half, record) - _answer(type(p), at - half, record))
              / (2.0 * half.sum()) for half in np.diag(np.maximum(1e-4 * np.abs(at), 1e-6))]
    jacobian = np.column_stack([*slopes, np.ones_like(curve)])
    free = curve.size - jacobian.shape[1]
    share = np.einsum("ij,jk,ik->i", jacobian, np.linalg.pinv(jacobian.T @ jacobian), jacobian)
    spread = fit.left * np.sqrt(curve.size / free * np.maximum(share, 0.0))
    model = {name: float(value) for name, value in zip(names, at, strict=True)}
    return FittedModel(
        PlantModel(model["gain"], model["lag"], model.get("second_lag"), model["dead_time"]),
        {k: float(v) for k, v in fit.half_width.items()}, fit.left,
        width * (fit.start + curve) + line,
        width * student.ppf(0.5 + 0.5 * identify.CONFIDENCE, free) * spread)


def _answer(kind: type[FirstOrder] | type[SecondOrder], numbers: Array, record: Record) -> Array:
    """(n,) Σ step_k·h(t − t_k) of a model with these numbers [span]."""
    by = np.diff(record.output)
    at = np.flatnonzero(by)
    process = kind(*numbers.tolist())
    return np.asarray(by[at] @ process.step(record.time - record.time[at + 1, None]))


def _said_of_record(stand: Rig, fits: tuple[FittedModel, ...], up: float, down: float,
                    noise: float, move: float) -> list[str]:
    said = []
    if max(abs(up), abs(down)) > UNEVEN * min(abs(up), abs(down)):
        said.append(f"the gain is {up:.3g} up and {down:.3g} down [% per %]: stick, play or a "
                    "characteristic that bends; the fits show a mean")
    plain = fits[0]
    for name, value in (("gain", plain.model.gain), ("lag", plain.model.lag)):
        wide = plain.half_width[name]
        if not isfinite(wide) or wide > POOR * abs(value):
            said.append(f"the {name} of the first order is known to ±{wide:.2g} only "
                        f"({value:.3g}): with a noise of {100.0 * noise:.2g} % of span a larger "
                        f"move than {100.0 * move:.3g} % is needed, or several tests")
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
    """What both tests tell of where they stood."""
    case, low = stand.case, stand.assembled.plant.transmitters[0].low
    return {"title": case.title, "strategy": stand.name,
            "method": case.strategies[stand.name].method, "holds": case.control.holds,
            "held_kind": case.control.held_kind, "span": (float(low), float(low) + stand.width),
            "scan": case.control.scan, "held": float(stand.rest.held), "output": stand.output,
            "elements": tuple(e.name for e in stand.assembled.elements), "assumed": ASSUMED}
