"""What one press put on record together, found again from any one of its entries.

A press on the page "Round" makes several entries.  A wrong bed makes all of them false, but
each is taken back on its own: whoever takes back one is told of the others.
"""

from __future__ import annotations

from collections.abc import Iterable

from app.exports.entry_words import what
from app.records import Entry, Standing
from app.ui import guard, ledger
from app.ui.round.state import form_of

#: How the keys end of what a round puts on record after the reading, and in its place.
_AFTER, _INSTEAD = ("-emptied", "-empty"), "-read"


def still_standing(taken_back: Entry) -> str:
    """In a sentence, what stands of the press that made the entry which was ``taken_back`` (its
    withdrawal); "" where nothing does.

    What was taken back is on record by now: a record that cannot be read is said, not raised.
    """
    every, problem = guard.in_words(
        lambda: ledger.open_store().current(taken_back.bed, withdrawn=True))
    if every is None:
        return f"Whether more was put on record with it cannot be told. {problem}"
    others = [s.entry for s in together(every, taken_back.number) if not s.withdrawn]
    if not others:
        return ""
    numbers = [str(e.number) for e in others]
    named = f"entry {numbers[0]}" if len(numbers) == 1 else (
        f"entries {', '.join(numbers[:-1])} and {numbers[-1]}")
    words = "; ".join(f"{e.number}: {what(e)}" for e in others)
    return (f"Put on record with it and still standing: {named}. {words}. If that is wrong too, "
            "take it back as well, each entry on its own.")


def together(every: Iterable[Standing], number: int) -> tuple[Standing, ...]:
    """All of the press that made the thing which entry ``number`` is about, in the order in
    which they were made; nothing where it was made alone.  ``every`` is all of the bed."""
    first = {s.original.number: s for s in every}
    root = next((n for n, s in first.items() if number in {e.number for e in s.history}), None)
    presses: dict[str, list[int]] = {}
    for n, s in sorted(first.items()):
        form = form_of(s.original.key)
        if form:
            presses.setdefault(form, []).append(n)
    for numbers in presses.values():
        made = sorted({*numbers, *_reading(first, numbers)})
        if root in made:
            return tuple(first[n] for n in made)
    return ()


def _reading(first: dict[int, Standing], numbers: list[int]) -> list[int]:
    """The reading of a press.  Its key is its photo's, not the form's; it is known by its
    place: after all else but the emptying, and what is written together has no gaps."""
    last = first[numbers[-1]].original
    if last.key.endswith(_INSTEAD):
        return []
    place = last.number - 1 if last.key.endswith(_AFTER) else last.number + 1
    found = first.get(place)
    if found is None or found.original.subject != "volume-reading" or \
            found.original.initials != last.initials:
        return []
    return [place]
