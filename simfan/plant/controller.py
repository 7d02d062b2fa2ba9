"""A controller's tuning, in the form in which its system takes it."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant import tuning
from simfan.plant.quantities import Description, Limits, Plain, Quantity, Share, refuse
from simfan.units import show

_TIMES = ("reset", "repeats", "derivative")
_GAINS = ("integral_gain", "derivative_gain")
_KEYS = {"standard": _TIMES, "series": _TIMES, "parallel": _GAINS}
"""Form → its keys beside the gain."""
_OTHERS = {"standard": _GAINS, "series": _GAINS, "parallel": _TIMES}
_FORMS_OF = {name: [form for form, keys in _KEYS.items() if name in keys]
             for name in (*_TIMES, *_GAINS)}
_TUNING = ("gain", "proportional_band", *_TIMES, *_GAINS)
_EXAMPLES = {
    "gain": 'a number such as 0.8, or proportional_band such as "125 %"',
    "reset": 'a time such as "8 s", or repeats such as "7.5 1/min"',
}

Gain = Annotated[float, Plain(Limits(above=0.0, most=1000.0))]


class Controller(Description):
    """A PID controller with external reset feedback, in one of three forms.

    The standard and the series form take `gain` or `proportional_band`, `reset` or `repeats`, and
    `derivative`; the parallel form takes `gain`, `integral_gain` and `derivative_gain`. With none
    of these keys gain and reset are sought, see `control.tuning`.
    """

    form: Literal["standard", "parallel", "series"] = "standard"
    """How the three parts are put together. Default: the standard form; common practice, no
    source."""
    gain: Gain | None = None
    """[% of output per % of span]."""
    proportional_band: Annotated[float, Quantity("fraction", Limits(0.001, 1000.0))] | None = None
    """Change of the measurement that moves the whole output, of the span: 1/gain."""
    reset: Annotated[float, Quantity("time", Limits(above=0.0, most=86400.0))] | None = None
    """Integral time Ti."""
    repeats: Annotated[float, Quantity("repeat rate", Limits(1e-5, 1e4))] | None = None
    """Integral action as repeats of the proportional part in a time: 1/Ti."""
    derivative: Annotated[float, Quantity("time", Limits(least=0.0, most=3600.0))] = 0.0
    """Derivative time Td, on the measured value. Default: none; common practice, no source."""
    integral_gain: Annotated[float, Quantity("integral gain", Limits(1e-8, 1e4))] | None = None
    """Ki of the parallel form, gain/Ti."""
    derivative_gain: Annotated[float, Quantity("time", Limits(0.0, 1e5))] | None = None
    """Kd of the parallel form, gain·Td."""
    derivative_filter: Annotated[float, Plain(Limits(least=1.0, most=100.0))] = 8.0
    """N: the derivative is filtered with Td/N, Td of the standard form. Default: common practice,
    no source."""
    setpoint_weight: Annotated[float, Plain(Limits(least=0.0, most=1.0))] = 1.0
    """Share of a setpoint change that the proportional part sees. Default: all of it; common
    practice, no source."""
    reset_from: Literal["output", "position"] = "output"
    """Where the external reset is taken: the limited output, or the element's measured position.
    Default: the output, which needs no position feedback; an assumption."""
    output_low: Share = 0.0
    """Lowest output. Default: the whole range; an assumption."""
    output_high: Share = 1.0
    """Highest output. Default: the whole range; an assumption."""
    full_travel: Annotated[float, Quantity("time", Limits(above=0.0, most=3600.0))] | None = None
    """Shortest time in which the output may go from 0 to 100 %. Default: no limit of its rate; an
    assumption; with sought gains, what the elements can follow."""

    setpoint_full_span: Annotated[float, Quantity("time", Limits(above=0.0, most=86400.0))] | \
        None = None
    """Shortest time in which the working setpoint may cross the whole span. Default: it follows at
    once; an assumption."""
    gap: Annotated[float, Quantity("fraction", Limits(above=0.0, most=0.5))] | None = None
    """Half width of a band about the setpoint, of the span, within which the gain is cut. Default:
    none; common practice, no source."""
    gap_gain: Share = 0.2
    """Of the gain within the gap. Default: an assumption."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*self._form_amiss(), *self._output_amiss(), *self._gap_amiss()])
        return self

    def idle(self) -> tuple[str, ...]:
        """What only a derivative part feels; without one, standard and series form are one."""
        gap = () if self.gap else ("gap_gain",)
        if self.tuned and self.standard.derivative > 0.0:
            return gap
        return (*gap, "form", "derivative_filter", *(() if self.tuned else ("derivative",)))

    @property
    def tuned(self) -> bool:
        """Whether it gives its gains, so that none is sought."""
        return any(name in self.model_fields_set and getattr(self, name) is not None
                   for name in _TUNING)

    def with_gains(self, gain: float, reset: float, full_travel: float | None = None
                   ) -> "Controller":
        """The same with this tuning of the standard form; times in [s]. A `full_travel` that it has
        stays."""
        given = {name: getattr(self, name) for name in self.model_fields_set}
        return Controller(**{**given, "gain": gain, "reset": reset,
                             "full_travel": self.full_travel or full_travel})

    @property
    def standard(self) -> tuning.Standard:
        """The tuning in the standard form, times in [s]."""
        gain = self.gain or tuning.from_band(self.proportional_band or 1.0)
        if self.form == "parallel":
            assert self.integral_gain is not None
            return tuning.from_parallel(
                tuning.Parallel(gain, self.integral_gain, self.derivative_gain or 0.0))
        reset = self.reset or tuning.from_repeats(self.repeats or 1.0)
        given = (gain, reset, self.derivative)
        if self.form == "series":
            return tuning.from_series(tuning.Series(*given))
        return tuning.Standard(*given)

    def _form_amiss(self) -> Iterator[Problem]:
        """The keys that belong to the form, one of each pair, and none of another form's."""
        if not self.tuned and self.form == "standard":
            return
        yield from self._one_of("gain", "proportional_band")
        if self.form == "parallel":
            if self.integral_gain is None:
                yield _missing("integral_gain", 'such as "0.08 1/s"')
        else:
            yield from self._one_of("reset", "repeats")
        for name in _OTHERS[self.form]:
            if name in self.model_fields_set and getattr(self, name) is not None:
                yield Problem((name,), f"{name} in the {self.form} form",
                              f"gain, {', '.join(_KEYS[self.form])}",
                              f"the {' or '.join(_FORMS_OF[name])} form has it")

    def _gap_amiss(self) -> Iterator[Problem]:
        if self.gap is None and "gap_gain" in self.model_fields_set:
            yield Problem(("gap_gain",), "gap_gain without a gap", "no such key, or a gap",
                          'such as gap = "1 %"')

    def _one_of(self, name: str, other: str) -> Iterator[Problem]:
        given = [key for key in (name, other) if getattr(self, key) is not None]
        if len(given) > 1:
            yield Problem((other,), f"both {name} and {other}", "one of the two",
                          "they say the same thing")
        elif not given:
            yield _missing(name, _EXAMPLES[name])

    def _output_amiss(self) -> Iterator[Problem]:
        if self.output_low >= self.output_high:
            yield Problem(("output_low",), show(self.output_low, "fraction"),
                          f"less than output_high, {show(self.output_high, 'fraction')}")


def _missing(name: str, allowed: str) -> Problem:
    return Problem((name,), "nothing", allowed, f"{name} is missing")
