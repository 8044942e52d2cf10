"""Unbroken stretches of True against the standard library."""

from itertools import groupby

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from vision.true_intervals import true_intervals


@given(st.lists(st.booleans(), max_size=40))
def test_against_groupby(row: list[bool]) -> None:
    expected, at = [], 0
    for value, group in groupby(row):
        length = len(list(group))
        if value:
            expected.append([at, at + length])
        at += length
    found = true_intervals(np.array(row, dtype=bool))
    assert found.shape == (len(expected), 2) and found.tolist() == expected
