"""The one option of the compiler that it does not promise: reference counting off, `_nrt=False`.

A step without it costs fifteen times as much. This file imports nothing of the kernel, so that it
can speak where the kernel can no longer be imported.
"""

import numba
import numpy as np
import pytest
from numba.core.errors import TypingError

GONE = ("numba {} {} `_nrt=False`, by which simfan/kernel/layout.py switches reference counting "
        "off: find its successor, or drop it there (a step then costs fifteen times as much), and "
        "lower the bound on numba in pyproject.toml until then")

pytestmark = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="nothing is compiled")


def test_numba_knows_the_option() -> None:
    try:
        doubled = numba.njit(_nrt=False)(lambda x: 2.0 * x)(1.0)
    except Exception as error:
        pytest.fail(f"{GONE.format(numba.__version__, 'refuses')}: {error}")
    assert doubled == 2.0


def test_the_option_still_has_its_effect() -> None:
    """Without counts nothing can be allocated; were the option ignored, this would be."""
    def allocated(n: int) -> np.ndarray:
        return np.zeros(n)

    assert numba.njit(allocated)(2).tolist() == [0.0, 0.0]
    try:
        numba.njit(_nrt=False)(allocated)(2)
    except TypingError as error:
        assert "numpy.zeros" in str(error) or "function zeros" in str(error)
    else:
        pytest.fail(GONE.format(numba.__version__, "ignores"))
