"""Whether the marks settle the numbering without the numbers, or speak against them."""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import GraduationFit
from vision.graduations.spacing import main_run
from vision.parameters import (
    ALONE_LOG_ODDS,
    BESIDE_LOG_ODDS,
    CLEAR_COUNT_LOG_ODDS,
    CLEAR_RESIDUAL,
    CLEAR_SEEN,
    COUNTED_RESIDUAL,
    HIDDEN_END_LABELS,
    HIDDEN_END_SEEN,
    HOPELESS_LOG_ODDS,
    LED_RESIDUAL,
)


def accept_by_count(fit: GraduationFit, complete: bool) -> bool:
    """Whether the count of the marks settles the numbering without legible numbers.

    ``complete`` says that both ends of the scale were seen.
    """
    log_odds = fit.evidence.margin(0)
    if not complete:
        return False
    if fit.relative_residual < COUNTED_RESIDUAL and (
            log_odds >= ALONE_LOG_ODDS or two_spacings_in_place(fit) and log_odds > 0.0):
        return True
    return fit.relative_residual < LED_RESIDUAL and log_odds >= CLEAR_COUNT_LOG_ODDS


def reject_by_marks(fit: GraduationFit, legible: int = 0) -> bool:
    """Whether the marks speak against the numbering that the numbers prove.

    Numbers can be read where the pose is wrong; the marks are then out of place, or another
    numbering fits them by far better, or one beside it clearly better.  So does one that knows
    nothing of an end of the scale that is not seen: in shadow, under a cloth.  Where ``legible``
    numbers, three or more, stand beside marks that are all in place, such an end is no evidence.
    """
    log_odds = fit.evidence.margin(0)
    out_of_place = fit.relative_residual >= COUNTED_RESIDUAL
    against = log_odds < HOPELESS_LOG_ODDS or fit.evidence.beside_log_odds > BESIDE_LOG_ODDS
    if against and not (legible >= HIDDEN_END_LABELS and end_hidden(fit)):
        return True
    return out_of_place and log_odds <= 0.0


def end_hidden(fit: GraduationFit) -> bool:
    """Whether the marks that were not seen are those of one end, and all others are in place."""
    if fit.relative_residual >= CLEAR_RESIDUAL:
        return False
    for seen in (fit.seen, fit.seen[::-1]):
        # in grain and shadow one or another seems to be there
        k = int(np.argmax(np.cumsum(np.where(seen, 1, -1)))) + 1
        if seen[:k].mean() > CLEAR_SEEN and HIDDEN_END_SEEN * len(seen) <= k < len(seen):
            return True
    return False


def two_spacings_in_place(fit: GraduationFit) -> bool:
    """Whether the scale has rows of different spacing that all lie in place.

    A shift of the numbering would then move one row against the other: the shape of
    the scale settles what an even row could not.
    """
    run = main_run(fit.scale)
    outside = np.ones(len(fit.scale.marks), dtype=bool)
    outside[run] = False
    return bool(outside.sum() >= 6 and fit.seen[outside].mean() > 0.9
                and fit.seen[run].mean() > 0.9)
