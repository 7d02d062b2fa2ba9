"""The arithmetic of a run, compiled.

Raw floats and arrays: there is no protection from wrong units here. Functions are one formula
each, allocate nothing inside a step, raise nothing, and give the same bits with compilation
switched off. File names mirror `plant`.
"""

from simfan.compiled import use_own_cache

use_own_cache()
