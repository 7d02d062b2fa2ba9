"""How much of a run lay on parts of the fan's curve that nobody measured."""

import numpy as np

from simfan.history import History


def assumed_part_s(history: History) -> float:
    """Time [s] with the fan's flow left or right of the maker's points, scaled by speed.

    Left includes reverse flow. All fans together; a wheel at rest counts as off its points.
    """
    low, high = history.facts.known_flow
    flow, speed = history.traces["fan_flow"], history.traces["speed_ratio"]
    off = (flow < low * speed - 1e-9) | (flow > high * speed + 1e-9)
    return float(np.count_nonzero(np.any(off, axis=1)) * history.facts.record_s)
