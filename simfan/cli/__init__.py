"""The command line: arguments, words and exit codes; no arithmetic.

Every command imports its work when it is called, so that `simfan --help` loads click alone.
"""

from simfan.cli import at_rest, files, loops, many, runs
from simfan.cli.program import main

__all__ = ["at_rest", "files", "loops", "main", "many", "runs"]
