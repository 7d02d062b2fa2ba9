"""How sure a number of runs makes: bounds on the share of a space that fails.

They hold for runs drawn at random and independently of one another, none of which was used to tune
or to search: fresh ones. An even sample (Sobol) or a searched one carries no such statement.
"""

from math import ceil, floor

from scipy.stats import beta, binom

CONFIDENCE = 0.95
FIRST_GUESS = 1 << 30
"""No campaign has so many runs."""


def failure_bound(failures: int, runs: int, confidence: float = CONFIDENCE) -> float:
    """Largest share of failures that these runs leave believable, from one side [1].

    The p at which k failures or fewer in N have the chance 1 − confidence: the quantile of
    Beta(k + 1, N − k) (Clopper and Pearson 1934). Raises ValueError for k outside 0 to N.
    """
    _check(failures, runs, confidence)
    return 1.0 if failures == runs else float(beta.ppf(confidence, failures + 1, runs - failures))


def runs_needed(passes: float, confidence: float = CONFIDENCE, failures: int = 0) -> int:
    """Fewest runs after which so many failures still allow "at least this share passes".

    The smallest N with Σ_{i ≤ k} C(N, i)·ε^i·(1 − ε)^(N − i) ≤ 1 − confidence, ε = 1 − passes
    (Wilks 1941; k failures are his order k + 1). Raises ValueError for shares outside 0 to 1.
    """
    if not 0.0 < passes < 1.0:
        raise ValueError(f"share that passes: got {passes}, allowed: between 0 and 1")
    _check(failures, failures + 1, confidence)
    low, high = failures, FIRST_GUESS
    while high - low > 1:
        middle = (low + high) // 2
        enough = binom.cdf(failures, middle, 1.0 - passes) <= 1.0 - confidence
        low, high = (low, middle) if enough else (middle, high)
    return high


def statement(failures: int, runs: int, confidence: float = CONFIDENCE) -> str:
    """"59 runs, none failed: with 95 % confidence at least 95 % of this space passes."

    Where "at least" would be less than 1 %, the most that can pass by the same bound. Shares are
    rounded to the doubtful side. Raises ValueError for k outside 0 to N.
    """
    least = _down(1.0 - failure_bound(failures, runs, confidence))
    share = f"at least {least}"
    if least == "0":
        most = failure_bound(runs - failures, runs, confidence)
        share = f"at most {ceil(100.0 * most - 1e-9)}"
    return (f"{counted(failures, runs)}: with {100.0 * confidence:g} % confidence {share} % of "
            "this space passes")


def counted(failures: int, runs: int) -> str:
    """Such as "59 runs, 2 failed"."""
    if runs == 1:
        return f"1 run, {'it failed' if failures else 'it did not fail'}"
    failed = {0: "none failed", runs: "all failed"}.get(failures, f"{failures} failed")
    return f"{runs} runs, {failed}"


NO_BOUND = {
    "sobol": "an even sample is not drawn independently, so no bound follows; its share of "
             "failures estimates that of the space",
    "grid": "a grid is not drawn from the space, so neither a share of it nor a bound follows",
}
"""Sampling → why it makes no statement of confidence."""


def _down(share: float) -> str:
    """A share in percent, rounded down so that it is never too much said: one more digit for each
    nine."""
    digits = 0 if share < 0.95 else 1 if share < 0.995 else 2
    scale = 10.0**digits
    return f"{floor(100.0 * share * scale + 1e-9) / scale:g}"


def _check(failures: int, runs: int, confidence: float) -> None:
    if not 0 <= failures <= runs or runs < 1:
        raise ValueError(f"failures: got {failures}, allowed: 0 to the number of runs, {runs}")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence: got {confidence}, allowed: between 0 and 1")
