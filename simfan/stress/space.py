"""The space of a campaign: points of the unit cube, the values they stand for, the case of one run.

What is written into a case is text, as a file has it; so the case of a run and the scenario file
that replays it are the same to the last bit.
"""

from collections.abc import Iterator, Mapping
from copy import deepcopy
from math import isclose
from typing import Any

import numpy as np
from scipy.stats import qmc

from simfan.errors import Problem, RunError, ScenarioError
from simfan.plant.case import Case
from simfan.plant.quantities import FROM_FILE
from simfan.plant.stress import Moves, Stress
from simfan.plant.varied import Varied, varied
from simfan.scenario import written
from simfan.scenario.sentences import problems
from simfan.stress_answer import Array, Input
from simfan.units import show

MOVES = ("from", "to", "over")
"""Names of the inputs that the setpoint moves add."""


class Space:
    """What varies in one strategy's runs."""

    def __init__(self, case: Case, strategy: str) -> None:
        """Raises RunError where the scenario says nothing that varies for this strategy."""
        stress = case.stress
        if stress is None:
            raise RunError("the scenario has no [stress] table, so nothing varies: see "
                           "docs/howto/stress.md, or write stress.moves or stress.vary")
        self.held = case.control.held_kind
        self.tables = written.tables(case)
        self.tables.pop("stress")
        self.case = _read(self.tables)
        self.moves = stress.moves
        self.varied = _bearing(case, stress, strategy)
        self.inputs = (*(_input(v) for v in self.varied), *_of_moves(case, stress.moves))
        if not self.inputs:
            raise RunError(f"nothing in [stress] varies for {strategy}: give moves a range, or "
                           "vary something that it has")
        self.nominal = np.array([0.5 if i.nominal is None else i.share(i.nominal)
                                 for i in self.inputs])

    @property
    def one_plant(self) -> bool:
        """Whether every run has the same plant, so that only its setpoints differ."""
        return not self.varied

    @property
    def off_nominal(self) -> Iterator[str]:
        """Where the nominal point is not the scenario as it stands, in words."""
        for one, at in zip(self.inputs, self.values(self.nominal), strict=True):
            if one.nominal is None:
                yield (f"{one.name} has no value in the scenario as it stands: the nominal run has "
                       f"{_shown(one, at)}, from the middle of its spread")
            elif not isclose(at, one.nominal, rel_tol=1e-6, abs_tol=1e-9):
                yield (f"{one.name} stands at {_shown(one, one.nominal)}, which is not within its "
                       f"spread: the nominal run, from which changes are counted, has "
                       f"{_shown(one, at)}")

    def values(self, point: Array) -> tuple[float, ...]:
        """Of the inputs at a point of the cube. SI."""
        return tuple(i.value(float(u)) for i, u in zip(self.inputs, point, strict=True))

    def written(self, values: tuple[float, ...]) -> dict[str, Any]:
        """The tables of one run."""
        made = deepcopy(self.tables) if self.varied else dict(self.tables)
        for what, value in zip(self.varied, values, strict=False):
            _put(made, what, value)
        if self.moves:
            self._move(made, self._moved(values))
        return made

    def case_of(self, values: tuple[float, ...]) -> Case:
        """The case of one run. Raises ScenarioError where these values make no scenario."""
        return _read(self.written(values))

    def _moved(self, values: tuple[float, ...]) -> dict[str, float]:
        """From, to and over of a run, those that do not vary too."""
        assert self.moves
        fixed = {"from": self.moves.start[0], "to": self.moves.end[0], "over": self.moves.over[0]}
        names = [i.name for i in self.inputs[len(self.varied):]]
        return fixed | dict(zip(names, values[len(self.varied):], strict=True))

    def _move(self, made: dict[str, Any], move: Mapping[str, float]) -> None:
        """The setpoint changes of the tables give way to one move."""
        assert self.moves
        setpoints = [written.quantity(move[name], self.held) for name in ("from", "to")]
        over = {"over": written.quantity(move["over"], "time")} if move["over"] else {}
        event = {"at": written.quantity(self.moves.at, "time"), **over, "setpoint": setpoints[1]}
        others = [e for e in made.get("timeline", ()) if not {"setpoint", "profile"} & set(e)]
        key = "setpoint" if "setpoint" in made["run"] else "starts_at"
        made["run"] = made["run"] | {key: setpoints[0]}
        made["timeline"] = sorted([event, *others], key=_when)


def random_points(seed: int, first: int, n: int, inputs: int) -> Array:
    """(n, inputs) of the cube, evenly at random; the numbers of a run follow from the seed and its
    own number alone, whatever else is drawn (Philox, counted by run)."""
    rows = [np.random.Generator(np.random.Philox(key=[seed, run])).random(inputs)
            for run in range(first, first + n)]
    return np.array(rows).reshape(n, inputs)


def sobol_points(seed: int, n: int, inputs: int) -> Array:
    """(n, inputs) of a scrambled Sobol sequence: evenly over the cube, and not independent."""
    whole = 1 << max(0, n - 1).bit_length()
    drawn = qmc.Sobol(inputs, rng=np.random.default_rng([seed, 4])).random(whole)
    return np.asarray(drawn[:n])


def grid_points(levels: int, inputs: int) -> Array:
    """(levels^inputs, inputs): every combination of so many even values, both ends among them."""
    axes = [np.linspace(0.0, 1.0, levels)] * inputs
    return np.stack([a.ravel() for a in np.meshgrid(*axes, indexing="ij")], axis=1)


def grid_levels(runs: int, inputs: int) -> int:
    """So many values of each input a grid of so many runs has."""
    levels = 1
    while (levels + 1) ** inputs <= runs:
        levels += 1
    return levels


def tried(space: Space) -> None:
    """Whether each end of each input makes a scenario, the others as they are. ScenarioError names
    the entry of [stress] that does not."""
    found = []
    for place, what in enumerate(space.varied):
        for end in (0.0, 1.0):
            point = space.nominal.copy()
            point[place] = end
            try:
                space.case_of(space.values(point))
            except ScenarioError as error:
                first = error.problems[0]
                found.append(Problem(
                    ("stress", "vary", what.place), f"an end of {what.name} at which {first.key} "
                    f"is {first.got}", first.allowed, first.hint or "a narrower spread"))
    if found:
        raise ScenarioError(found)


def _bearing(case: Case, stress: Stress, strategy: str) -> tuple[Varied, ...]:
    """What varies, without the numbers of other strategies."""
    found = (varied(case, vary, place) for place, vary in enumerate(stress.vary))
    return tuple(v for v in found if v.keys[0] != "strategies" or v.keys[1] == strategy)


def _input(what: Varied) -> Input:
    return Input(what.name, what.kind, what.form, what.numbers, what.base)


def _of_moves(case: Case, moves: Moves | None) -> tuple[Input, ...]:
    if moves is None:
        return ()
    first = next((e for e in case.timeline if e.setpoint is not None), None)
    kind = case.control.held_kind
    every = (("from", kind, moves.start, case.run.first_setpoint),
             ("to", kind, moves.end, first.setpoint if first else None),
             ("over", "time", moves.over, first.over if first else None))
    return tuple(Input(name, of, "uniform", (float(ends[0]), float(ends[1])),
                       None if nominal is None else float(nominal))
                 for name, of, ends, nominal in every if ends[0] < ends[1])


def _shown(one: Input, value: float) -> str:
    return show(value, one.kind, digits=4) if one.kind else f"{value:.4g}"


def _put(made: dict[str, Any], what: Varied, value: float) -> None:
    """Write a value where it belongs; a list is scaled."""
    here: Any = made
    for key in what.keys[:-1]:
        here = here.setdefault(key, {}) if isinstance(here, dict) else here[key]
    last = what.keys[-1]
    if what.scaled:
        old = here[last]
        new = [value * v for v in (old["values"] if isinstance(old, dict) else old)]
        here[last] = old | {"values": new} if isinstance(old, dict) else new
    elif what.kind:
        here[last] = written.quantity(value, what.kind)
    else:
        here[last] = int(value) if what.whole else value


def _read(tables: dict[str, Any]) -> Case:
    from pydantic import ValidationError

    try:
        return Case.model_validate(tables, context=FROM_FILE)
    except ValidationError as error:
        raise ScenarioError(problems(error)) from None


def _when(event: Mapping[str, Any]) -> float:
    return float(str(event["at"]).split()[0])
