"""The confirming act: the only way from a draft to something the store accepts."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

from app.records.canonical import canonical_json
from app.records.codes import BedCode, Initials, normal_bed
from app.records.confirmed import ConfirmedEntry, seal
from app.records.content import Content
from app.records.drafts import (
    OVERFULL,
    CorrectionDraft,
    Draft,
    LevelDraft,
    Number,
    SettingDraft,
    WithdrawalDraft,
)
from app.records.errors import ConfirmError
from app.records.moment import Moment
from app.records.parts import Attestations
from app.records.quantity import in_unit
from app.records.software import software_version
from app.records.texts import plain_text

#: How far "happened" may lie after "confirmed": the clocks of two stations differ a little.
CLOCK_SLACK = timedelta(minutes=1)

_SHA256 = re.compile(r"[0-9a-f]{64}")
#: Subject and issuer of a sign-in: 255 characters and an address (OpenID Connect Core 1.0, 2).
_LONGEST_IDENTITY = 600


def confirm(
    draft: Draft,
    *,
    by: Initials,
    bed: BedCode,
    confirmed_value: Number | None = None,
    attestations: Attestations | None = None,
    note: str = "",
    late_reason: str = "",
    key: str | None = None,
    happened_at: Moment | None = None,
    identity: str | None = None,
    clock_checked: bool = False,
    clock: Callable[[], Moment] = Moment.now,
) -> ConfirmedEntry:
    """Confirm a draft.

    ``by`` and ``bed`` are :class:`Initials` and :class:`BedCode`, not bare text.
    ``confirmed_value`` is in the draft's unit.  ``key`` is one per form shown: the
    same key twice is one entry.  ``happened_at`` defaults to now; earlier is a
    late entry, and ``late_reason`` says why.  ``identity`` is who was signed in, where
    sign-in is on.
    ``clock_checked`` says that a person compared this machine's clock by hand.
    ``clock`` tells the time of confirming.  Raises ConfirmError with a sentence.
    """
    if type(by) is not Initials:
        raise ConfirmError("Nothing goes on record without the initials of the one who confirms.")
    if type(bed) is not BedCode:
        raise ConfirmError("Nothing goes on record without the bed code.")
    now = clock()
    if isinstance(draft, CorrectionDraft | WithdrawalDraft) \
            and normal_bed(draft.original.bed) != bed:
        raise ConfirmError(
            f"Entry {draft.original.number} belongs to bed {draft.original.bed}. If that bed is "
            "wrong, withdraw it there and make a new entry for the right bed.")
    content = Content(
        key=str(uuid.uuid4()) if key is None else _key(key), kind=draft.kind,
        subject=draft.subject, bed=_spelling(draft, bed), initials=by, identity=identity,
        recorded=now, happened=_happened(draft, happened_at, now), clock_checked=clock_checked,
        software_version=software_version(), note=plain_text(note, "The note"), **draft.fields())
    if confirmed_value is not None:
        content = replace(content, confirmed_value=_value(draft, confirmed_value))
    if attestations is not None:
        content = replace(content, attestations=attestations)
    if late_reason.strip() and content.reason is None:
        content = replace(content, reason=late_reason.strip())
    _check(draft, content)
    return seal(content)


def _spelling(draft: Draft, bed: BedCode) -> str:
    """A correction keeps the spelling of the entry that it names."""
    return draft.original.bed if isinstance(draft, CorrectionDraft | WithdrawalDraft) else bed


def _key(key: str) -> str:
    if not 1 <= len(key) <= 100 or not key.isprintable():
        raise ConfirmError("The form's key must be 1 to 100 printable characters.")
    return key


def _happened(draft: Draft, given: Moment | None, now: Moment) -> Moment:
    if isinstance(draft, CorrectionDraft):
        given = given or draft.happened_at or draft.original.happened
    elif isinstance(draft, WithdrawalDraft):
        given = draft.original.happened
    elif given is None:
        return now
    if given.utc > now.utc + CLOCK_SLACK:
        raise ConfirmError("The time given lies in the future; check date and time.")
    return given


def _value(draft: Draft, value: Number) -> Decimal:
    if isinstance(draft, LevelDraft) and draft.method == "usual":
        raise ConfirmError("A check by the usual method has no offset of its own.")
    if draft.unit is None or isinstance(draft, WithdrawalDraft):
        raise ConfirmError("There is no value to confirm here.")
    return in_unit(value, draft.unit, "The confirmed value")


def _check(draft: Draft, content: Content) -> None:
    if content.photo_sha256 is not None and not _SHA256.fullmatch(content.photo_sha256):
        raise ConfirmError("The photo's SHA-256 must be 64 hexadecimal digits.")
    _check_texts(draft, content)
    if not content.reason and (content.subject == "skipped-step" or content.refers_to is not None):
        raise ConfirmError("Say why: a reason is needed here.")
    if isinstance(draft, CorrectionDraft):
        _check_correction(draft, content)
    if content.kind != "withdrawal":
        _check_subject(draft, content)


def _check_texts(draft: Draft, content: Content) -> None:
    plain_text(content.identity or "", "The sign-in's name", _LONGEST_IDENTITY)
    texts = {"The reason": content.reason}
    if not isinstance(draft, CorrectionDraft) or draft.payload is not None:
        # What an old entry says goes on as it is.
        texts["The scale's name"] = content.scale
        texts |= {f"The text '{k.replace('_', ' ')}'": v for k, v in content.payload.items()
                  if isinstance(v, str)}
    for what, text in texts.items():
        plain_text(text or "", what)


def _check_correction(draft: CorrectionDraft, content: Content) -> None:
    def state(c: Content) -> tuple[object, ...]:
        value = None if c.confirmed_value is None else f"{c.confirmed_value:f}"
        return value, c.happened, canonical_json(c.payload), c.attestations

    if state(content) == state(draft.original):
        raise ConfirmError("The correction changes nothing.")


def _check_subject(draft: Draft, content: Content) -> None:
    if content.subject in ("volume-reading", "setting-check") and content.confirmed_value is None:
        raise ConfirmError("Type the value that you confirm.")
    if content.subject == "level-check" and content.payload.get("method") == "photo" \
            and content.confirmed_value is None:
        raise ConfirmError("Type the offset that you confirm.")
    if isinstance(draft, SettingDraft) and draft.unit not in ("cm[H2O]", "mm[Hg]"):
        raise ConfirmError("A setting is read in cm[H2O] or in mm[Hg]; say which.")
    if content.subject == "volume-reading":
        _check_volume(content)
    elif content.attestations is not None:
        raise ConfirmError("The four statements belong to a chamber reading only.")


def _check_volume(content: Content) -> None:
    if content.unit != "mL":
        raise ConfirmError("A chamber reading is in mL.")
    value, first, said = content.confirmed_value, content.first, content.attestations
    if first is not None and first.value is not None:
        in_unit(first.value, "mL", "Your own reading")
    if said is None:
        raise ConfirmError(
            "State the four things first: outlet closed while collecting, chamber hanging plumb, "
            "patient undisturbed, right chamber and scale.")
    if not said.right_chamber_and_scale:
        raise ConfirmError("A reading of the wrong chamber or scale cannot go on record.")
    if not said.all_true and not content.note:
        raise ConfirmError("One of the four statements is a no: write in the note what was so.")
    capacity = content.payload.get("capacity")
    if capacity is not None and value is not None and value > Decimal(capacity) * OVERFULL:
        raise ConfirmError(
            f"{value:f} mL is more than this chamber of {Decimal(capacity).normalize():f} mL can "
            "hold; check the value and the chosen scale.")
