"""What happens when: SimPy plays the events of a scenario into one value for each scan.

What does not depend on the plant is played ahead of the run, and the kernel needs no Python on the
way; procedures, which wait for the plant, are played in step with it.
"""

from simfan.timeline.live import Live
from simfan.timeline.play import AS_IT_IS, ELEMENTS, READINGS, Played, play

__all__ = ["AS_IT_IS", "ELEMENTS", "READINGS", "Live", "Played", "play"]
