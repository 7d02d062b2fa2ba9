"""How should a large fan be controlled? Strategy against strategy, before start-up.

Importing this package loads nothing heavy; the work begins in `simfan.api`.
"""

__version__ = "0.1.0"
