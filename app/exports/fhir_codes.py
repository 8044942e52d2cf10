"""Codes of the FHIR export.

Units are UCUM.  What a chamber reading, a height offset or a panel setting is has
no fitting standard code that was found, so they carry codes of this software's
own system, and none of them a pressure code: an offset or a setting is not the
patient's pressure.
"""

from __future__ import annotations

from typing import Any

UCUM = "http://unitsofmeasure.org"
#: Local systems.  The top-level domain is reserved for examples (RFC 2606): nobody owns
#: it, and whoever installs this may map the codes to their own.
LOCAL = "https://countersight.example/fhir"
CODES = f"{LOCAL}/codes"
BEDS = f"{LOCAL}/bed"
NUMBERS = f"{LOCAL}/entry-number"
HASHES = f"{LOCAL}/entry-hash"
INITIALS = f"{LOCAL}/initials"

CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"

DISPLAY: dict[str, str] = {
    "volume-reading": "Content of the drip chamber, as confirmed",
    "level-check": "Height of the zero reference above the landmark, as confirmed",
    "setting-check": "Setting of the drip chamber on the panel, as confirmed",
    "order": "Order as typed from the written order",
    "event": "Event at the bedside",
    "skipped-step": "Step of the routine left out",
    "own-reading": "Read by the person before seeing the machine's value",
    "machine-reading": "Read by the machine from the photo",
    "machine-low": "Lower end of the machine's 95 % interval",
    "machine-high": "Upper end of the machine's 95 % interval",
    "machine-status": "What the machine could say",
    "machine-flags": "Warnings of the machine",
    "reading-standard-uncertainty": "Standard uncertainty of the reading without the scale's",
    "scale": "Scale of the chamber",
    "scale-division": "Smallest division of the scale",
    "scale-tolerance": "Largest error of the scale",
    "outlet-closed": "Outlet closed while collecting",
    "hanging-plumb": "Chamber hanging plumb",
    "patient-undisturbed": "Patient undisturbed",
    "right-chamber-and-scale": "Right chamber and scale",
    "content-before": "Content before emptying",
    "content-after": "Content after emptying",
    "sample-volume": "Volume of the sample",
    "sample-source": "Where the sample was drawn",
    "detail": "Detail",
    "method": "How it was done",
    "asked": "What did not fit the record and was asked about",
    "answer": "What the person answered",
    "second-look": "Own reading and machine's far apart: what a second look found",
    "several-photos": "Photos that were read together",
    "limits": "Limits named by the order",
    "landmark": "Landmark named by the order",
    "drain": "How to drain, by the order",
    "tell-whom": "Whom to tell, by the order",
    "step": "Step",
    "chamber-emptied": "Chamber emptied",
    "bag-changed": "Bag changed",
    "drain-closed": "Drain closed",
    "drain-opened": "Drain opened",
    "drain-closed-seen": "Drain seen closed",
    "drain-opened-seen": "Drain seen open",
    "sample-taken": "Sample taken",
    "position-changed": "Position changed",
    "fluid-seen": "Look of the fluid",
    "little-output": "Reason looked for, as little or nothing drained",
    "person-told": "Somebody was told",
    "dressing-seen": "Dressing and site seen",
    "drainage-ended": "Drainage ended",
    "look": "How the fluid looked",
    "cause": "Reason found",
    "about": "What was told",
    "whom": "Who was told",
    "reply": "What they answered",
    "dressing": "How the dressing was",
    "site": "How the site was",
    "tests": "Tests that the sample was sent for",
    "closed-for": "What the drain was closed for",
}

#: Parts of an event -> their codes.
CHARTED = {name: name.replace("_", "-") for name in (
    "tests", "closed_for", "look", "cause", "about", "whom", "reply", "dressing", "site")}


def concept(code: str) -> dict[str, Any]:
    """A CodeableConcept of the local system."""
    return {"coding": [{"system": CODES, "code": code, "display": DISPLAY[code]}],
            "text": DISPLAY[code]}


def quantity(value: Any, unit: str) -> dict[str, Any]:
    """A Quantity in UCUM; the code is the unit's own text."""
    words = {"cm[H2O]": "cmH2O", "mm[Hg]": "mmHg"}
    return {"value": value, "unit": words.get(unit, unit), "system": UCUM, "code": unit}
