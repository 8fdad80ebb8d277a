"""Inner kernels are linked into what calls them, and no machine code is made of them alone."""

from __future__ import annotations

import numba
import numpy as np
import pytest
from proud.kernels.profile import LINKED, jit

pytestmark = pytest.mark.skipif(
    numba.config.DISABLE_JIT or not LINKED, reason="nothing is compiled, or in numba's own way"
)


@jit
def half(x):
    return 0.5 * x


@jit
def quarter(x):
    return half(half(x))


def test_an_inner_kernel_is_linked_into_its_caller():
    from proud.kernels.inner import _LinkedOnly

    outer = numba.njit(lambda x: quarter(x) + 1.0)
    assert outer(4.0) == 2.0
    assert outer(np.int64(2)) == 1.5
    for kernel in (half, quarter):
        libraries = [result._asdict()["library"] for result in kernel.overloads.values()]
        assert len(libraries) == 2
        for library in libraries:
            assert isinstance(library, _LinkedOnly)
            assert library._compiled_object is None
