"""What is printed beside a mark if the numbering of the main run is shifted by some marks."""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import GraduationFit

#: A shift that the marks make less likely than this against the likeliest is not looked at, nats.
_UNLIKELY = 60.0


def possible_shifts(fit: GraduationFit) -> list[int]:
    """The shifts of the numbering that the marks leave open; 0 among them."""
    e = fit.evidence
    likely = e.log_likelihood > e.log_likelihood.max() - _UNLIKELY
    return sorted({0, *(int(k) for k in e.shifts[likely])})


def text_by_shift(fit: GraduationFit, run: np.ndarray, mark: int, shift: int) -> str | None:
    """What is printed beside a mark if the numbering of ``run`` is shifted; None: nothing."""
    where = mark
    if run[0] <= mark <= run[-1]:
        where = mark + shift
        if not run[0] <= where <= run[-1]:
            return None
    m = fit.scale.marks[where]
    return m.text if m.label else None
