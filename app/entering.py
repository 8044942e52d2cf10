"""Putting an entry on record: a reading or an emptying that does not fit is asked about first.

The one way by which the pages add them.  The answer to a question goes on record with
the entry; without one, nothing does.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

from app.records import (
    ConfirmError,
    Draft,
    Entry,
    EventDraft,
    KeptPicture,
    ReadingDraft,
    Store,
    confirm,
)
from app.records.content import Content
from app.records.shift import bed_account, chamber_inputs, event_input, reading_input
from vision.output import Question
from vision.output.plausible import change_questions

#: Comes after everything on record at the same moment.
_NEWEST = 2**62
#: What is older is not compared with (our choice).
_BACK = timedelta(days=3)


class DoubtfulError(ConfirmError):
    """What is to be confirmed does not fit what is on record; ``questions`` say why."""

    def __init__(self, questions: tuple[Question, ...]) -> None:
        self.questions = questions
        super().__init__("This does not fit what is on record. Look again: change it, or say "
                         "why it is so, and confirm once more.")


def put_on_record(store: Store, draft: Draft, *, answer: str = "",
                  picture: KeptPicture | None = None, compare: bool = True,
                  **confirming: Any) -> Entry:
    """Confirm and add.

    ``answer`` is what the person said to the questions of :class:`DoubtfulError`, which is
    raised where there are questions and no answer; ``compare`` False asks nothing (demo
    photos follow no patient's drain); ``confirming`` goes to ``confirm``.
    """
    made = confirm(draft, **confirming)
    asked = questions(store, made.content) if compare else ()
    if asked:
        said = " ".join(answer.split())
        if not said:
            raise DoubtfulError(asked)
        made = confirm(_with_answer(draft, [q.kind for q in asked], said), **confirming)
    return store.add(made, picture)


def questions(store: Store, content: Content) -> tuple[Question, ...]:
    """What in a new reading or emptying does not fit the record of its bed.

    A second tap is not compared with the first.
    """
    if content.refers_to is not None:
        return ()  # a correction is an answer already, with its reason
    if content.subject != "volume-reading" and content.event != "chamber-emptied":
        return ()
    bed = bed_account(store, content.bed, since=content.happened.local - _BACK)
    there = [s for s in bed.standings if s.original.key != content.key]
    new = reading_input(content, _NEWEST) if content.subject == "volume-reading" else \
        event_input(content, _NEWEST)
    capacity = content.payload.get("capacity")
    return change_questions(*chamber_inputs(there), new, bed.limits,
                            None if capacity is None else Decimal(capacity).normalize())


def _with_answer(draft: Draft, kinds: list[str], answer: str) -> Draft:
    if isinstance(draft, EventDraft):
        return replace(draft, detail="; ".join(filter(None, (draft.detail, answer))))
    assert isinstance(draft, ReadingDraft)
    return replace(draft, payload={**draft.payload, "asked": kinds, "answer": answer})
