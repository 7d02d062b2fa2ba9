"""Strategies run, judged, and set side by side."""

from simfan.compare import Comparison, StrategyResult, judged, together, weighed
from simfan.loops.equal import Equal, run
from simfan.simulate import Progress


def side_by_side(tuned: Equal, names: list[str], progress: Progress | None = None) -> Comparison:
    """The strategies named, each with the gains that it was given or that were sought for it."""
    return together([_weighed(tuned, name, progress) for name in names], tuned.case.criteria)


def _weighed(tuned: Equal, name: str, progress: Progress | None) -> StrategyResult:
    """One strategy judged; where it rests on assumed parts of the fan's curve, for a low and a high
    assumption too."""
    criteria = tuned.case.criteria
    nominal = judged(run(tuned, name, progress), criteria)
    if nominal.assumed_part_s == 0.0 or name in tuned.untuned:
        return nominal
    return weighed(nominal, {
        assumption: judged(run(tuned, name, progress, assumption), criteria)
        for assumption in ("low", "high")})
