"""Entries in a few words: the same on the sheet, on the pages and in a terminal."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from app.orders import LIMITS
from app.records.content import LATE_MINUTES, Entry
from app.records.kinds import WORDS, event_text
from app.records.standing import Standing
from vision.hydrostatics.units import exact_text
from vision.output.model import hm, tenths
from vision.output.plausible import KINDS

_UNITS = {"cm[H2O]": "cmH2O", "mm[Hg]": "mmHg"}


def when(e: Entry) -> str:
    """When it was seen or done; with the time of entry when it was entered late."""
    late = ""
    if e.late_minutes >= LATE_MINUTES and e.kind not in ("correction", "withdrawal"):
        late = f", entered {hm(e.recorded.local, e.happened.local)}"
    return f"{e.happened.local:%Y-%m-%d %H:%M}{late}"


def own_text(e: Entry) -> str:
    """What the person read before the machine's value was shown."""
    return "-" if e.first is None else "skipped" if e.first.value is None \
        else exact_text(e.first.value)


def machine_text(e: Entry) -> str:
    """What the machine saw."""
    m = e.machine
    if m is None:
        return "no photo"
    if m.value is None:
        return m.status
    reach = "" if m.low is None or m.high is None else f" ({tenths(m.low)} to {tenths(m.high)})"
    return tenths(m.value) + reach


def remarks(s: Standing) -> str:
    """Correction, statements answered with no, warnings, reason and note."""
    e, parts = s.entry, []
    if s.corrected:
        parts.append(f"corrected (was entry {s.original.number})")
    said = e.attestations
    if said is not None and not said.all_true:
        parts += [words for ok, words in (
            (said.outlet_closed, "outlet not closed"), (said.hanging_plumb, "not hanging plumb"),
            (said.patient_undisturbed, "patient not undisturbed")) if not ok]
    if e.machine is not None and e.machine.flags:
        from vision.flags import FLAGS

        parts += [FLAGS[f].short if f in FLAGS else f for f in e.machine.flags]
    if e.payload.get("second_look"):
        parts.append(f"own reading and tool's far apart, second look: {e.payload['second_look']}")
    parts += several_photos(e)
    if e.payload.get("answer"):
        asked = ", ".join(KINDS.get(k, k) for k in e.payload.get("asked", ()))
        parts.append(f"asked about ({asked}), answer: {e.payload['answer']}")
    if e.reason and s.original.kind == "skipped-step":
        parts.append(e.reason)
    elif s.original.reason:
        parts.append(f"entered late: {s.original.reason}")
    if s.original.note:
        parts.append(s.original.note)
    return "; ".join(parts)


def several_photos(e: Entry) -> list[str]:
    """What a reading that rests on several photos says of them."""
    parts = []
    if e.payload.get("photos"):
        parts.append(_photos_in_hand(e, e.payload["photos"]))
    for out in e.payload.get("taken_out", ()):
        parts.append(f"a photo was taken out again (it alone: {_alone(out, e)})")
    if e.payload.get("between_photos"):
        parts.append(f"between the photos: {e.payload['between_photos']}")
    return parts


def _photos_in_hand(e: Entry, photos: list[dict[str, Any]]) -> str:
    """What was had from the photos: a value read by eye was not read from any of them."""
    given = len(photos)
    if e.machine is not None and e.machine.value is None:
        each = ", ".join(_alone(p, e) for p in photos)
        return f"no reading from {given} photos together (each alone: {each})"
    counted = e.payload.get("rests_on", given)
    if counted == given:
        return f"read from {given} photos together"
    if counted == 1:
        return f"read from one of {given} photos, nothing could be had from the rest"
    return f"read from {counted} of {given} photos together"


def _alone(photo: dict[str, Any], e: Entry) -> str:
    """What one photo showed by itself."""
    if photo["value"] is None:
        return str(photo["status"])
    if e.subject == "level-check":
        return _hangs(Decimal(photo["value"]))
    return f"{photo['value']} {e.unit}"


def what(e: Entry) -> str:
    """What the entry says, in a few words."""
    if e.subject == "order":
        return "order: " + order_text(e)
    if e.subject == "event":
        volumes = [f"{words} {e.payload[name]} mL".strip() for name, words in (
            ("before_ml", "from"), ("after_ml", "to"), ("volume_ml", "")) if name in e.payload]
        more = [str(e.payload[k]) for k in ("source", "detail") if e.payload.get(k)]
        sent = f", sent for {e.payload['tests']}" if e.payload.get("tests") else ""
        return " ".join([event_text(e.act or "event", e.payload), *volumes, *more]) + sent
    if e.subject == "skipped-step":
        return f"step skipped: {e.payload.get('step')}"
    words = WORDS[e.subject]
    if e.confirmed_value is None:
        return f"{words}, usual method"
    if e.subject == "level-check":
        return f"{words} {level_text(e)}"
    return f"{words} {exact_text(e.confirmed_value)} {_UNITS.get(e.unit or '', e.unit)}"


def level_text(e: Entry) -> str:
    """How a level check found the system to hang; the side in words, for a bare sign is
    easily read the wrong way round."""
    if e.confirmed_value is None:
        return "by the usual method"
    return _hangs(e.confirmed_value)


def _hangs(offset_cm: Decimal) -> str:
    size = f"{abs(offset_cm):f} cm"
    if not offset_cm:
        return f"{size}, level"
    return f"{size} too {'high' if offset_cm > 0 else 'low'}"


def order_text(e: Entry) -> str:
    """An order as it was typed."""
    p, parts = e.payload, []
    if e.confirmed_value is not None:
        unit = _UNITS.get(e.unit or "", e.unit)
        parts.append(f"threshold {exact_text(e.confirmed_value)} {unit}")
    parts += [f"{words} {p[k]}" for k, words in (
        ("landmark", "landmark"), ("drain", "drain"), ("tell_whom", "tell")) if p.get(k)]
    parts += [words.said(p["limits"][name]) for name, words in LIMITS.items()
              if name in (p.get("limits") or {})]
    return "; ".join(parts) + f" ({when(e)}, {e.initials})"


def clamp_text(e: Entry, now: datetime) -> str:
    """How long the drain has been closed for transport."""
    minutes = int((now - e.happened.utc).total_seconds() // 60)
    hours, rest = divmod(max(minutes, 0), 60)
    span = f"{hours} h {rest:02d} min" if hours else f"{rest} min"
    return f"Clamped for transport since {hm(e.happened.local, now)}, {span} now."


def told_text(e: Entry, now: datetime) -> str:
    """Who was told, when, and the answer."""
    return f"Told {e.payload['whom']} at {hm(e.happened.local, now)} ({e.initials}), " \
        f"answer: {e.payload['reply']}"
