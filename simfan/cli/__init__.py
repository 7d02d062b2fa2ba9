"""The command line: arguments, words and exit codes; no arithmetic.

Every command imports its work when it is called, so that `simfan --help` loads click alone.
"""

from simfan.cli import at_rest, bound, files, fit, loops, many, runs, trends
from simfan.cli.program import main

__all__ = ["at_rest", "bound", "files", "fit", "loops", "main", "many", "runs", "trends"]
