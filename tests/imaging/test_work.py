"""What may still be tried on a picture."""

from __future__ import annotations

from vision.imaging.work import Work


def test_what_is_taken_is_gone_and_more_than_is_left_is_not_given():
    work = Work(20)
    assert work.take(16) and work.left == 4
    assert not work.take(16) and work.left == 4
    assert work.take(4) and not work.take()
