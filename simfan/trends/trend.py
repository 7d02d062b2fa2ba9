"""What a plant recorded: time, named signals in SI, and where nothing good was recorded."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from simfan.errors import RunError
from simfan.trends.room import each, parts

Array = np.ndarray


def of_element(name: str) -> str:
    """The name of an element's position among a trend's signals."""
    return f"element_position of {name}"


@dataclass(frozen=True)
class Gap:
    """Time in which nothing was recorded, or nothing good of one signal."""

    start_s: float
    """Last good sample before it [s]."""
    end_s: float
    """First good sample after it [s]."""
    signal: str = ""
    """Of which signal; "" for a gap in the file itself."""


@dataclass(frozen=True)
class Trend:
    """A recorded trend. Signals are those of `simfan.signals`, of the first loop and the fan, and
    `element_position of <element>`; `volume_pressure` is the gauge pressure of the volume [Pa].
    Arrays of a long trend are mapped from temporary files, to be read only."""

    file: str
    """Name of the file."""
    time: Array
    """(n_samples,) [s], rising, from the first sample."""
    signals: Mapping[str, Array]
    """Name → (n_samples,) [SI], nan where the sample is not good."""
    good: Mapping[str, Array]
    """Name → (n_samples,) bool [1]: whether the sample may be used."""
    gaps: tuple[Gap, ...]
    """Longer than `longest_interval_s`, in the order of time."""
    notes: tuple[str, ...]
    """What was recognised and assumed in reading, in plain words."""
    interval_s: float
    """Usual time between two samples [s], the median."""
    longest_interval_s: float
    """Longer is a gap [s]."""
    began: str = ""
    """Its first time as the file writes it."""

    def part(self, begin_s: float, end_s: float) -> "Trend":
        """The samples from one time to another [s], both within; time counts from the first of
        them. Raises RunError where there are not two, or for a beginning below zero."""
        if begin_s < 0.0:
            raise RunError(f"a part from {begin_s:g} s on: the trend begins at 0 s")
        first = int(np.searchsorted(self.time, begin_s, side="left"))
        last = int(np.searchsorted(self.time, end_s, side="right"))
        if last - first < 2:
            until = f"to {end_s:g} s" if end_s < inf else "on"
            raise RunError(f"the trend has {max(last - first, 0)} samples from {begin_s:g} s "
                           f"{until}, two are needed; it lasts {self.time[-1]:.6g} s")
        zero = float(self.time[first])
        good = {name: values[first:last] for name, values in self.good.items()}
        known = [name for name, kept in good.items() if any(part.any() for part in parts(kept))]
        gaps = tuple(Gap(g.start_s - zero, g.end_s - zero, g.signal) for g in self.gaps
                     if g.start_s < end_s and g.end_s > begin_s)
        return replace(
            self, time=each(lambda time: time - zero, self.time[first:last]),
            good={name: good[name] for name in known},
            signals={name: self.signals[name][first:last] for name in known}, gaps=gaps,
            notes=(*self.notes, f"time counts from {zero:.9g} s after the trend's first sample"))
