"""The FHIR Bundle, validated by two maintained libraries.

fhirclient has models generated from FHIR 4.0.1 (R4) itself; fhir.resources has
stricter ones (formats of times, codes, identifiers) of the nearest release, R4B
4.3.0, in which Observation, Media and Bundle have the same elements.  The codes
of Observation.status are those of HL7 FHIR R4, value set observation-status.
"""

from __future__ import annotations

import base64
import json
import re
from decimal import Decimal

import numpy as np
import pytest
from exports_help import evening
from fhir.resources.R4B.bundle import Bundle
from fhir_account import read_accounts
from hypothesis import given
from hypothesis import strategies as st
from records_help import BED, BY, SCALE, YES, seen

from app.exports.exact_json import dumps
from app.exports.fhir import observation, write_bundle
from app.records import (
    KeptPicture,
    NotARecordError,
    OwnReading,
    ReadingDraft,
    Store,
    confirm,
)
from app.records.shift import bed_account

STATUS_R4 = {"registered", "preliminary", "final", "amended", "corrected", "cancelled",
             "entered-in-error", "unknown"}


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    return evening(tmp_path_factory.mktemp("evening"))


@pytest.fixture(scope="module")
def text(store):
    return write_bundle(store.current(withdrawn=True))


@pytest.fixture(scope="module")
def resources(text):
    return [e["resource"] for e in json.loads(text)["entry"]]


def test_a_maintained_library_accepts_it(text, resources):
    bundle = Bundle.model_validate_json(text)
    assert len(bundle.entry) == len(resources) == 14
    assert {e.resource.get_resource_type() for e in bundle.entry} == {"Observation"}


def test_the_models_of_r4_itself_accept_it(text):
    from fhirclient.models import bundle, fhirabstractbase

    made = bundle.Bundle(json.loads(text), strict=True)
    assert len(made.entry) == 14 and made.entry[0].resource.resource_type == "Observation"
    wrong = json.loads(text)
    wrong["entry"][0]["resource"]["valueQuantity"]["value"] = "many"
    with pytest.raises(fhirabstractbase.FHIRValidationError):
        bundle.Bundle(wrong, strict=True)
    missing = json.loads(text)
    del missing["entry"][0]["resource"]["status"]
    with pytest.raises(fhirabstractbase.FHIRValidationError):
        bundle.Bundle(missing, strict=True)


def test_the_library_does_refuse_what_is_wrong(text):
    """So that the test above means something."""
    for old, new in (('"status": "final"', '"status": ["final"]'), ('"code": {', '"kode": {'),
                     ('"effectiveDateTime": "2026', '"effectiveDateTime": "x2026'),
                     ('"value": 11.50', '"value": "eleven"')):
        assert old in text
        with pytest.raises(ValueError):
            Bundle.model_validate_json(text.replace(old, new, 1))


def test_status_says_what_happened(store, resources):
    by_number = {int(r["identifier"][0]["value"]): r for r in resources}
    assert {r["status"] for r in resources} <= STATUS_R4
    assert by_number[4]["status"] == "amended" and by_number[7]["status"] == "entered-in-error"
    others = [r["status"] for n, r in by_number.items() if n not in (4, 7)]
    assert set(others) == {"final"}
    assert by_number[4]["valueQuantity"]["value"] == 11.5
    note = by_number[4]["note"][0]
    assert "before: 12.50 mL" in note["text"] and note["authorString"] == "R.T."


def test_units_are_ucum_and_nothing_has_a_pressure_code(text, resources):
    """UCUM codes as in the FHIR specification's examples: mL, mm[Hg]; cm[H2O] alike.
    LOINC 60956-0 (intracranial pressure) must not appear: neither an offset nor a
    setting is the patient's pressure."""
    quantities = [q for r in resources for q in
                  [r.get("valueQuantity"), *(c.get("valueQuantity")
                                             for c in r.get("component", ()))] if q]
    assert {q["code"] for q in quantities} == {"mL", "cm", "cm[H2O]"}
    assert {q["system"] for q in quantities} == {"http://unitsofmeasure.org"}
    assert "60956-0" not in text and "loinc" not in text.lower() and "snomed" not in text.lower()


def test_digits_are_kept(text):
    assert re.search(r'"value": 11\.50,', text) and re.search(r'"value": 40\.25,', text)
    assert '"value": -2.5,' in text


def test_times_carry_the_wards_offset(resources):
    assert all(re.fullmatch(r"2026-03-02T\d\d:\d\d:\d\d\.\d{3}\+\d\d:\d\d",
                            r["effectiveDateTime"]) for r in resources)
    assert any(r["effectiveDateTime"].endswith("+01:00") for r in resources)


def test_no_photo_and_no_photo_hash(store, text):
    assert "ab" * 32 not in text and "attachment" not in text.lower()
    assert any(e.photo_sha256 for e in store.entries())


def test_a_kept_picture_leaves_only_when_asked(tmp_path):
    picture = KeptPicture.of(np.zeros((60, 40, 3), np.uint8))
    store = Store.open(tmp_path)
    what = ReadingDraft.of(seen(), scale=SCALE, photo_sha256="ab" * 32,
                           first=OwnReading.skipped(), picture=picture)
    store.add(confirm(what, by=BY, bed=BED, confirmed_value="23.4", attestations=YES), picture)
    encoded = base64.b64encode(picture.jpeg).decode()
    assert encoded not in write_bundle(store.current())
    asked = write_bundle(store.current(), picture=store.picture)
    bundle = Bundle.model_validate_json(asked)
    media, reading = (e.resource for e in bundle.entry)
    assert (media.get_resource_type(), reading.get_resource_type()) == ("Media", "Observation")
    assert reading.derivedFrom[0].reference == bundle.entry[0].fullUrl and encoded in asked
    assert list(read_accounts(asked)) == [BED]


def test_machine_and_own_reading_stand_beside_the_confirmed_value(resources):
    reading = next(r for r in resources if r["identifier"][0]["value"] == "5")
    parts = {c["code"]["coding"][0]["code"]: c for c in reading["component"]}
    assert parts["own-reading"]["valueQuantity"]["value"] == 23.5
    assert parts["machine-reading"]["valueQuantity"]["value"] == 23.412
    assert parts["outlet-closed"]["valueBoolean"] is True
    skipped = next(r for r in resources
                   if r.get("valueQuantity", {}).get("value") == 40.25)
    parts = {c["code"]["coding"][0]["code"]: c for c in skipped["component"]}
    assert parts["own-reading"]["valueString"] == "skipped by choice"
    assert parts["hanging-plumb"]["valueBoolean"] is False


def test_import_gives_the_same_account(store, text):
    accounts = read_accounts(text)
    for bed in store.beds():
        ours, theirs = bed_account(store, bed).account, accounts[bed]
        assert theirs.readings == ours.readings and theirs.events == ours.events
        assert theirs.intervals == ours.intervals and theirs.total_ml == ours.total_ml
        assert (theirs.covariance == ours.covariance).all()


def test_what_is_not_confirmed_does_not_count_on_import(text):
    everything = json.loads(text)
    for entry in everything["entry"]:
        entry["resource"]["status"] = "preliminary"
    assert read_accounts(json.dumps(everything)) == {}


@pytest.mark.parametrize("bad", ["", "[]", "{}", '{"resourceType": "Patient"}', "[" * 99999,
                                 '{"resourceType": "Bundle", "entry": [{}]}'])
def test_other_files_are_refused(bad):
    with pytest.raises(NotARecordError):
        read_accounts(bad)


def test_a_wrong_unit_is_refused(text):
    with pytest.raises(NotARecordError, match="mL"):
        read_accounts(text.replace('"code": "mL"', '"code": "L"'))


def test_the_same_entry_has_the_same_address_every_time(store):
    first, second = (observation(store.current()[0])["id"] for _ in range(2))
    assert first == second and re.fullmatch(r"[0-9a-f-]{36}", first)


@pytest.mark.slow
@given(st.recursive(st.none() | st.booleans() | st.text() | st.integers()
                    | st.decimals(-10**6, 10**6, places=3),
                    lambda x: st.lists(x, max_size=4) | st.dictionaries(st.text(), x, max_size=4),
                    max_leaves=12))
def test_exact_json_is_json(value):
    def plain(x):
        if isinstance(x, bool) or x is None or isinstance(x, str):
            return x
        if isinstance(x, (int, Decimal)):
            return Decimal(x)
        if isinstance(x, dict):
            return {k: plain(v) for k, v in x.items()}
        return [plain(v) for v in x]

    assert json.loads(dumps(value), parse_float=Decimal, parse_int=Decimal) == plain(value)


def test_binary_numbers_have_no_exact_digits():
    with pytest.raises(TypeError):
        dumps({"value": 0.1})
