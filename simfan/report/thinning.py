"""Fewer points for a line on a screen, with every swing kept.

The time is cut into buckets, and of each the lowest and the highest sample stay, at their own
times. Then points go that a straight line between their neighbours shows just as well.
"""

import numpy as np

BUCKETS = 3000
"""Twice as many points at most: more than a wide screen has dots side by side."""
STRAIGHT = 2e-4
"""How far a point may lie off the line between its neighbours and go, of the line's whole range."""
PASSES = 8


def kept(time: np.ndarray, values: np.ndarray, buckets: int = BUCKETS) -> np.ndarray:
    """Indices of the samples that stay, in order; the first and the last always do.

    `time` [s] and `values` have shape (n_samples,); a line broken by nan stays broken there.
    """
    stay = _extremes(values, buckets)
    reach = np.ptp(values[np.isfinite(values)]) if np.isfinite(values).any() else 0.0
    for _ in range(PASSES):
        stay = _straightened(time, values, stay, STRAIGHT * float(reach))
    return stay


def _extremes(values: np.ndarray, buckets: int) -> np.ndarray:
    """The lowest and the highest of each bucket, and both sides of a break."""
    size = -(-len(values) // buckets)
    if size < 3:
        return np.arange(len(values))
    starts = np.arange(0, len(values), size)
    padded = np.pad(values, (0, len(starts) * size - len(values)), mode="edge")
    rows, broken = padded.reshape(-1, size), np.isnan(values)
    low = starts + np.where(np.isnan(rows), np.inf, rows).argmin(axis=1)
    high = starts + np.where(np.isnan(rows), -np.inf, rows).argmax(axis=1)
    edges = np.flatnonzero(np.diff(broken.astype(int)))
    all_of_them = np.concatenate([low, high, edges, edges + 1, [0, len(values) - 1]])
    return np.unique(np.minimum(all_of_them, len(values) - 1))


def _straightened(time: np.ndarray, values: np.ndarray, stay: np.ndarray, reach: float
                  ) -> np.ndarray:
    """Without every second point, where it lies on the line between its neighbours."""
    middle = np.arange(1, len(stay) - 1, 2)
    left, here, right = stay[middle - 1], stay[middle], stay[middle + 1]
    share = (time[here] - time[left]) / (time[right] - time[left])
    line = values[left] + share * (values[right] - values[left])
    goes = np.abs(values[here] - line) <= reach
    return np.delete(stay, middle[goes])
