"""The record as a FHIR R4 Bundle of Observations.

One Observation per thing that stands: ``final`` as confirmed, ``amended`` when it
was corrected (the history is in the notes), ``entered-in-error`` when it was
withdrawn.  Nothing that no person confirmed is in the record, so nothing else can
be exported.  No photo hash, no names: the ward's own codes only; kept pictures
only when asked for.
"""

from __future__ import annotations

import base64
import uuid
from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from app.exports.entry_words import several_photos
from app.exports.exact_json import dumps
from app.exports.fhir_codes import (
    BEDS,
    CATEGORY,
    CHARTED,
    HASHES,
    INITIALS,
    NUMBERS,
    concept,
    quantity,
)
from app.records.codes import bed_and_drain, normal_bed
from app.records.content import Entry
from app.records.kinds import WORDS
from app.records.moment import Moment
from app.records.shift import reading_uncertainty
from app.records.standing import Standing
from vision.output.plausible import KINDS

_STATUS = {"as confirmed": "final", "corrected": "amended", "withdrawn": "entered-in-error"}
_METHODS = {"photo": "Photo of the chamber read by machine, confirmed by a person",
            "eye": "Read by eye", "usual": "Usual method of the ward"}
#: Names of our entries as version 5 UUIDs: the same entry always has the same address.
_NAMESPACE = uuid.UUID("5b0b6bb6-6d0c-5f0e-9d4e-6c1f7a1c2f11")


def write_bundle(standings: Iterable[Standing], *, now: Moment | None = None,
                 picture: Callable[[Entry], bytes | None] | None = None) -> str:
    """The Bundle as JSON text; numbers keep the digits that were confirmed.

    ``picture`` (usually ``store.picture``) adds kept pictures as Media resources; left
    out, none is exported.
    """
    moment = now or Moment.now()
    found: list[dict[str, Any]] = []
    for standing in standings:
        made = observation(standing)
        jpeg = None if picture is None else picture(standing.entry)
        if jpeg is not None:
            media = _media(standing, jpeg)
            made["derivedFrom"] = [{"reference": f"urn:uuid:{media['id']}"}]
            found.append(media)
        found.append(made)
    return dumps({
        "resourceType": "Bundle", "type": "collection", "timestamp": moment.local_text,
        "entry": [{"fullUrl": f"urn:uuid:{r['id']}", "resource": r} for r in found]}) + "\n"


def observation(standing: Standing) -> dict[str, Any]:
    """One Observation; absent things are left out, as FHIR has no null."""
    e, first, last = standing.entry, standing.original, standing.history[-1]
    found: dict[str, Any] = {
        "resourceType": "Observation",
        "id": _address(first),
        "identifier": [{"system": NUMBERS, "value": str(first.number)},
                       {"system": HASHES, "value": last.hash}],
        "status": _STATUS[standing.status],
        "category": [{"coding": [{"system": CATEGORY, "code": "procedure"}]}],
        "code": concept(e.subject),
        "subject": {"identifier": {"system": BEDS, "value": normal_bed(e.bed)}},
        "effectiveDateTime": _instant(e.happened),
        "issued": _instant(last.recorded),
        "performer": [{"identifier": {"system": INITIALS, "value": e.initials}}],
    }
    _put_value(found, e)
    _, drain = bed_and_drain(e.bed)
    if drain:  # the drain's own label, where a patient has two
        found["bodySite"] = {"text": f"Drain {drain}"}
    method = e.payload.get("method")
    if method in _METHODS:
        found["method"] = {"text": _METHODS[method]}
    found["device"] = {"display": f"Countersight {e.software_version}"}
    notes = _notes(standing)
    if notes:
        found["note"] = notes
    parts = [p for p in _components(e) if p is not None]
    if parts:
        found["component"] = parts
    return found


def _media(standing: Standing, jpeg: bytes) -> dict[str, Any]:
    entry = standing.original
    return {
        "resourceType": "Media",
        "id": str(uuid.uuid5(_NAMESPACE, f"picture of {entry.hash}")),
        "status": "entered-in-error" if standing.withdrawn else "completed",
        "subject": {"identifier": {"system": BEDS, "value": normal_bed(entry.bed)}},
        "createdDateTime": _instant(entry.happened),
        "content": {"contentType": "image/jpeg", "data": base64.b64encode(jpeg).decode("ascii")},
    }


def _address(entry: Entry) -> str:
    return str(uuid.uuid5(_NAMESPACE, entry.hash))


def _instant(moment: Moment) -> str:
    """With milliseconds and the local offset."""
    return moment.local.isoformat(timespec="milliseconds")


def _put_value(found: dict[str, Any], e: Entry) -> None:
    if e.confirmed_value is not None and e.unit is not None:
        found["valueQuantity"] = quantity(e.confirmed_value, e.unit)
    elif e.event is not None:
        found["valueCodeableConcept"] = concept(e.act or e.event)
    elif e.subject == "skipped-step":
        found["valueString"] = str(e.payload.get("step", ""))
    elif e.subject == "order":
        found["valueString"] = "Order without a threshold"
    elif e.subject == "level-check":
        found["valueString"] = "Level by the ward's usual method"


def _notes(standing: Standing) -> list[dict[str, Any]]:
    notes = []
    for entry in standing.history:
        texts = []
        if entry.kind in ("correction", "withdrawal"):
            before = _said(standing.history[standing.history.index(entry) - 1])
            texts.append(f"{WORDS[entry.kind].capitalize()}: {entry.reason} (before: {before})")
        elif entry.reason:
            late = "" if entry.kind == "skipped-step" else "Entered late: "
            texts.append(f"{late}{entry.reason}")
        if entry.note:
            texts.append(entry.note)
        notes += [{"authorString": entry.initials, "time": _instant(entry.recorded), "text": t}
                  for t in texts]
    return notes


def _said(entry: Entry) -> str:
    value = f"{entry.confirmed_value:f} {entry.unit}" if entry.confirmed_value is not None \
        else WORDS.get(entry.act or entry.subject, entry.subject)
    return f"{value}, {entry.happened.local_text}, {entry.initials}"


def _components(e: Entry) -> Iterable[dict[str, Any] | None]:
    unit = e.unit or "1"
    if e.first is not None and e.first.value is not None:
        yield _amount("own-reading", e.first.value, unit)
    elif e.first is not None:
        yield _text("own-reading", "skipped by choice")
    if e.machine is not None:
        yield _text("machine-status", e.machine.status)
        yield _amount("machine-reading", e.machine.value, unit)
        yield _amount("machine-low", e.machine.low, unit)
        yield _amount("machine-high", e.machine.high, unit)
        yield _text("machine-flags", ", ".join(e.machine.flags))
    yield _text("scale", e.scale or "")
    if e.subject == "volume-reading":
        yield _amount("scale-division", _decimal(e.payload.get("division")), "mL")
        yield _amount("scale-tolerance", _decimal(e.payload.get("tolerance")), "mL")
        yield _amount("reading-standard-uncertainty", Decimal(repr(reading_uncertainty(e))), "mL")
    if e.attestations is not None:
        for name in ("outlet_closed", "hanging_plumb", "patient_undisturbed",
                     "right_chamber_and_scale"):
            yield {"code": concept(name.replace("_", "-")),
                   "valueBoolean": getattr(e.attestations, name)}
    for name, code in (("before_ml", "content-before"), ("after_ml", "content-after"),
                       ("volume_ml", "sample-volume")):
        yield _amount(code, _decimal(e.payload.get(name)), "mL")
    for name, code in (("source", "sample-source"), ("detail", "detail"),
                       ("answer", "answer"), ("second_look", "second-look"),
                       ("landmark", "landmark"), ("drain", "drain"),
                       ("tell_whom", "tell-whom"), *CHARTED.items()):
        yield _text(code, str(e.payload.get(name) or ""))
    yield _text("several-photos", "; ".join(several_photos(e)))
    yield _text("asked", ", ".join(KINDS.get(k, k) for k in e.payload.get("asked", ())))
    yield _text("limits", ", ".join(f"{k} {v}" for k, v in
                                    sorted((e.payload.get("limits") or {}).items())))


def _amount(code: str, value: Decimal | None, unit: str) -> dict[str, Any] | None:
    if value is None:
        return None
    return {"code": concept(code), "valueQuantity": quantity(value, unit)}


def _text(code: str, text: str) -> dict[str, Any] | None:
    return {"code": concept(code), "valueString": text} if text.strip() else None


def _decimal(text: Any) -> Decimal | None:
    return None if text is None else Decimal(str(text))
