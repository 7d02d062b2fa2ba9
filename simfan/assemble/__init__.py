"""The border between words and numbers: descriptions become the kernel's arrays.

Names become indices, curves become tables. One file for each file of `plant`.
"""

from simfan.assemble.case import Assembled, assemble

__all__ = ["Assembled", "assemble"]
