"""Tests that drive a browser go to the first workers, whole files each."""

from __future__ import annotations

import pytest
from sharing_out import browser_shares, drivers

BROWSER = [f"tests/browser/test_{name}.py::test_{n}"
           for name, count in (("axe", 3), ("camera", 9), ("ward", 6)) for n in range(count)]
REST = [f"tests/volume/test_read.py::test_{n}" for n in range(40)]


@pytest.mark.parametrize("workers", [2, 3, 5, 17])
def test_every_browser_test_is_given_out_once_and_no_file_is_torn(workers):
    shares = browser_shares(BROWSER + REST, workers)
    assert sum(shares) == len(BROWSER) and len(shares) == drivers(workers) <= workers
    at = 0
    for share in shares:
        assert at == 0 or BROWSER[at].split("::")[0] != BROWSER[at - 1].split("::")[0]
        at += share


@pytest.mark.parametrize(("names", "workers"), [(REST, 3), ([], 3), (BROWSER, 1)])
def test_where_there_is_nothing_to_part_all_is_shared_as_always(names, workers):
    assert browser_shares(names, workers) == []


def test_one_file_is_one_workers():
    assert browser_shares([n for n in BROWSER if "camera" in n] + REST, 3) == [9]
