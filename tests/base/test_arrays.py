"""Counting and ordering in many at once."""

import numpy as np
import pytest

from pathgen.base.arrays import stable_order


@pytest.mark.parametrize("count", [0, 1, 2, 7, 8, 1000, 40_000])
@pytest.mark.parametrize("most", [1, 5, 2**45])
def test_equal_keys_stay_in_the_order_that_they_are_given_in(count, most):
    """Against the stable sort of numpy."""
    keys = np.random.default_rng(count).integers(0, most, count)
    assert stable_order(keys).tolist() == np.argsort(keys, kind="stable").tolist()
