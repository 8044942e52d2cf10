"""Whether the marks settle the numbering without the numbers, or speak against them."""

from __future__ import annotations

import numpy as np

from vision.graduations.fit import Ladder
from vision.graduations.shift_likelihood import main_run

#: The count of marks alone settles the numbering only with this lead (nats) over
#: the next shift: odds of four hundred to one.
COUNT_MARGIN = 6.0
#: The same where the marks are less well in place: rows found in grain, which are not the
#: scale, lead by up to 11.
CLEAR_MARGIN = 15.0
#: Lead (nats) of a numbering by the marks below which no number makes up for it.
FAR_BEHIND = -50.0


def counted(ladder: Ladder, complete: bool) -> bool:
    """Whether the count of the marks settles the numbering without legible numbers.

    ``complete`` says that both ends of the scale were seen.
    """
    lead = ladder.evidence.margin(0)
    if not complete:
        return False
    if ladder.tidy and (lead >= COUNT_MARGIN or two_rows_fit(ladder) and lead > 0.0):
        return True
    return ladder.fair and lead >= CLEAR_MARGIN


def contradicted(ladder: Ladder) -> bool:
    """Whether the marks speak against the numbering that the numbers prove.

    Numbers can be read where the pose is wrong; the marks are then out of place, or
    another numbering fits them by far better.
    """
    lead = ladder.evidence.margin(0)
    return not ladder.tidy and lead <= 0.0 or lead < FAR_BEHIND


def two_rows_fit(ladder: Ladder) -> bool:
    """Whether the scale has rows of different spacing that all lie in place.

    A shift of the numbering would then move one row against the other: the shape of
    the scale settles what an even row could not.
    """
    run = main_run(ladder.scale)
    outside = np.ones(len(ladder.scale.marks), dtype=bool)
    outside[run] = False
    return bool(outside.sum() >= 6 and ladder.seen[outside].mean() > 0.9
                and ladder.seen[run].mean() > 0.9)
