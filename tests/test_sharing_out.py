"""Tests that drive a browser go to the first worker."""

from __future__ import annotations

import pytest
from sharing_out import first_share

BROWSER = [f"tests/browser/test_{name}.py::test_{n}"
           for name, count in (("axe", 3), ("camera", 9), ("ward", 6)) for n in range(count)]
REST = [f"tests/volume/test_read.py::test_{n}" for n in range(40)]


@pytest.mark.parametrize("workers", [2, 3, 5, 17])
def test_the_first_worker_begins_with_all_that_drives_a_browser(workers):
    assert first_share(BROWSER + REST, workers) == len(BROWSER)


@pytest.mark.parametrize(("names", "workers"), [(REST, 3), ([], 3), (BROWSER, 3),
                                                (BROWSER + REST, 1)])
def test_where_there_is_nothing_to_set_apart_all_is_shared_as_always(names, workers):
    assert first_share(names, workers) is None
