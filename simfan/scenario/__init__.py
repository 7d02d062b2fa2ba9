"""From a file that a person wrote to a `Case`, or to every mistake in it with its place."""

from simfan.scenario.assumed import assumed
from simfan.scenario.reader import fingerprint, load, place
from simfan.scenario.rewrite import write_sequences
from simfan.scenario.rewrite_numbers import Changed, write_numbers
from simfan.scenario.rewrite_tuning import Typed, write_tunings
from simfan.scenario.schema import schema
from simfan.scenario.starter import starter

__all__ = ["Changed", "Typed", "assumed", "fingerprint", "load", "place", "schema", "starter",
           "write_numbers", "write_sequences", "write_tunings"]
