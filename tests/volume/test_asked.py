"""A person is asked for a number only where one could settle what is believed to be a scale."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from vision.parameters import BELIEVED_SHOWN, UNSOUND_SEEN_RESIDUAL
from vision.volume import number
from vision.volume.number import Ambiguous, _decided

UNREAD = SimpleNamespace(verdict="unread", count_complete=False, labels=(), unmatched_marks=0)


def row(*, shown: float = 0.9, misfit: float = 0.02, of_marks: bool = True) -> Any:
    return SimpleNamespace(shown=np.full(20, shown), relative_residual=misfit,
                           is_of_marks=of_marks)


@pytest.fixture(autouse=True)
def _unsettled(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(number, "accept_by_count", lambda *_: False)


@pytest.mark.parametrize(("fit", "flag", "question"), [
    (row(), "numbering-unsettled", "number"),
    (row(misfit=UNSOUND_SEEN_RESIDUAL - 0.001), "numbering-unsettled", "number"),
    (row(misfit=UNSOUND_SEEN_RESIDUAL), "marks-out-of-place", ""),  # a number moves no mark
    (row(of_marks=False), "no-chamber", ""),                         # the gaps of a pattern
    (row(shown=BELIEVED_SHOWN - 0.01), "no-chamber", ""),
])
def test_what_is_asked_of_a_row_without_legible_numbers(fit, flag, question):
    found = _decided(fit, UNREAD)
    assert isinstance(found, Ambiguous)
    assert (found.flags[-1], found.question) == (flag, question)
