"""Back from a FHIR Bundle of ours to readings and events: the check that nothing was lost in it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from typing import Any

from app.exports.fhir_codes import BEDS, CODES, NUMBERS, UCUM
from app.records.codes import normal_bed
from app.records.errors import NotARecordError
from app.records.kinds import EVENTS
from vision.output import Account, ChamberEvent, ChamberReading, make_account

#: Statuses that count; entered-in-error and anything unconfirmed do not.
_COUNTS = ("final", "amended", "corrected")


def read_accounts(text: str) -> dict[str, Account]:
    """Bed code -> account from the text of a Bundle.

    Raises NotARecordError when it is no such Bundle or a unit is not the one expected.
    """
    try:
        bundle = json.loads(text, parse_float=Decimal, parse_int=Decimal)
    except (json.JSONDecodeError, RecursionError):
        raise NotARecordError("This file is not JSON.") from None
    if not isinstance(bundle, dict) or bundle.get("resourceType") != "Bundle":
        raise NotARecordError("This file is not a FHIR Bundle.")
    readings: dict[str, list[ChamberReading]] = {}
    events: dict[str, list[ChamberEvent]] = {}
    try:
        for resource in _counted(bundle):
            bed = normal_bed(_identifier([resource["subject"]["identifier"]], BEDS))
            kind = code_of(resource.get("code"))
            if kind == "volume-reading":
                readings.setdefault(bed, []).append(_reading(resource))
            elif kind == "event":
                events.setdefault(bed, []).append(_event(resource))
    except (KeyError, TypeError, ValueError, AttributeError):
        raise NotARecordError(
            "An observation in this Bundle lacks what this software writes; it cannot be read back."
        ) from None
    return {bed: make_account(readings.get(bed, []), events.get(bed, []))
            for bed in sorted({*readings, *events})}


def _counted(bundle: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for item in bundle.get("entry", ()):
        resource = item["resource"]
        if resource.get("resourceType") == "Observation" and resource.get("status") in _COUNTS:
            yield resource


def _identifier(identifiers: list[dict[str, Any]], system: str) -> str:
    return next(str(i["value"]) for i in identifiers if i["system"] == system)


def _parts(resource: dict[str, Any]) -> dict[str, Any]:
    return {code_of(c["code"]): c for c in resource.get("component", ())}


def _ml(holder: dict[str, Any] | None) -> Decimal | None:
    if holder is None or "valueQuantity" not in holder:
        return None
    q = holder["valueQuantity"]
    if q.get("system") != UCUM or q.get("code") != "mL":
        raise NotARecordError(f"A volume in this Bundle is in '{q.get('code')}', not in mL.")
    return Decimal(q["value"])


def _float(holder: dict[str, Any] | None) -> float | None:
    value = _ml(holder)
    return None if value is None else float(value)


def _reading(resource: dict[str, Any]) -> ChamberReading:
    parts, value = _parts(resource), _ml(resource)
    if value is None:
        raise KeyError("valueQuantity")
    doubts = [words for code, words in (
        ("hanging-plumb", "the chamber did not hang plumb"),
        ("patient-undisturbed", "the patient was not undisturbed"))
        if not parts.get(code, {"valueBoolean": True})["valueBoolean"]]
    return ChamberReading(
        at=datetime.fromisoformat(resource["effectiveDateTime"]), value_ml=value,
        u_reading_ml=_float(parts["reading-standard-uncertainty"]) or 0.0,
        scale=parts["scale"]["valueString"], division_ml=_float(parts["scale-division"]) or 1.0,
        tolerance_ml=_float(parts.get("scale-tolerance")),
        number=int(_identifier(resource["identifier"], NUMBERS)),
        outlet_closed=parts.get("outlet-closed", {"valueBoolean": True})["valueBoolean"],
        doubts=tuple(doubts))


def _event(resource: dict[str, Any]) -> ChamberEvent:
    parts, name = _parts(resource), code_of(resource["valueCodeableConcept"])
    if name not in EVENTS:
        raise ValueError(name)

    def words(code: str) -> str | None:
        return str(parts[code]["valueString"]) if code in parts else None

    return ChamberEvent(
        at=datetime.fromisoformat(resource["effectiveDateTime"]), name=name,  # type: ignore[arg-type]
        before_ml=_ml(parts.get("content-before")), after_ml=_ml(parts.get("content-after")),
        volume_ml=_ml(parts.get("sample-volume")), source=words("sample-source"),
        number=int(_identifier(resource["identifier"], NUMBERS)), detail=words("detail") or "")


def code_of(concept_: Any) -> str:
    """The local code of a CodeableConcept; "" when it has none."""
    for coding in (concept_ or {}).get("coding", ()):
        if coding.get("system") == CODES:
            return str(coding.get("code", ""))
    return ""
