"""Putting an entry on record: a reading or an emptying that does not fit is asked about first.

The one way by which the pages add them.  The answer to a question goes on record with
the entry; without one, nothing does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
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


@dataclass(frozen=True)
class Proposed:
    """One of several things to be confirmed with one press; ``more`` goes to ``confirm``."""

    draft: Draft
    more: Mapping[str, Any]
    picture: KeptPicture | None = None


def put_on_record(store: Store, draft: Draft, *, answer: str = "",
                  picture: KeptPicture | None = None, compare: bool = True,
                  **confirming: Any) -> Entry:
    """Confirm one thing and add it; as :func:`put_all_on_record`."""
    return put_all_on_record(store, [Proposed(draft, confirming, picture)], answer=answer,
                             compare=compare)[0]


def put_all_on_record(store: Store, proposed: Sequence[Proposed], *, answer: str = "",
                      compare: bool = True, **confirming: Any) -> tuple[Entry, ...]:
    """Confirm and add everything that is proposed, or nothing of it.

    ``answer`` is what the person said to the questions of :class:`DoubtfulError`, which is
    raised where there are questions and no answer; ``compare`` False asks nothing (demo
    photos follow no patient's drain); ``confirming`` goes to ``confirm`` for each.
    """
    made = [confirm(p.draft, **{**confirming, **p.more}) for p in proposed]
    contents = [m.content for m in made]
    asked = [questions(store, c, contents[:n]) if compare else ()
             for n, c in enumerate(contents)]
    said = " ".join(answer.split())
    if any(asked) and not said:
        raise DoubtfulError(tuple(q for one in asked for q in one))
    for n, (p, of_it) in enumerate(zip(proposed, asked, strict=True)):
        if of_it:
            made[n] = confirm(_with_answer(p.draft, [q.kind for q in of_it], said),
                              **{**confirming, **p.more})
    return store.add_all([(m, p.picture) for m, p in zip(made, proposed, strict=True)])


def questions(store: Store, content: Content, before: Sequence[Content] = ()
              ) -> tuple[Question, ...]:
    """What in a new reading or emptying does not fit the record of its bed, and what is to go
    on record ``before`` it.

    A second tap is not compared with the first.
    """
    if content.refers_to is not None:
        return ()  # a correction is an answer already, with its reason
    if content.subject != "volume-reading" and content.event != "chamber-emptied":
        return ()
    bed = bed_account(store, content.bed, since=content.happened.local - _BACK)
    keys = {content.key, *(c.key for c in before)}
    readings, events = chamber_inputs([s for s in bed.standings if s.original.key not in keys])
    for n, c in enumerate((*before, content)):
        if c.subject == "volume-reading":
            readings.append(reading_input(c, _NEWEST + n))
        elif c.subject == "event":
            events.append(event_input(c, _NEWEST + n))
    reads = content.subject == "volume-reading"
    new = readings.pop() if reads else events.pop()
    capacity = content.payload.get("capacity")
    return change_questions(readings, events, new, bed.limits,
                            None if capacity is None else Decimal(capacity).normalize())


def _with_answer(draft: Draft, kinds: list[str], answer: str) -> Draft:
    if isinstance(draft, EventDraft):
        return replace(draft, detail="; ".join(filter(None, (draft.detail, answer))))
    assert isinstance(draft, ReadingDraft)
    return replace(draft, payload={**draft.payload, "asked": kinds, "answer": answer})
