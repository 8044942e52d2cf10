"""The page "Round" where an order, a landmark or the drain itself changed since."""

from __future__ import annotations

from pathlib import Path

import pytest
from hour_walk import BED, Hour, entries

from app.records import BedCode, EventDraft, Initials, OrderDraft, Store, confirm

pytestmark = pytest.mark.slow


@pytest.fixture
def data(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path))
    return tmp_path


@pytest.mark.parametrize(("landmark", "again"), [("tragus", True), (" Ear  canal", False)])
def test_a_level_check_at_another_landmark_than_the_order_names_now_does_not_hold(
        data, landmark, again):
    Hour(data).checks().by_eye().say().put()
    Store.open(data).add(confirm(OrderDraft(landmark=landmark), by=Initials("M.K."),
                                 bed=BedCode(BED)))
    assert ("names another landmark. Check the level again." in Hour(data).text()) is again


def test_an_order_that_came_meanwhile_is_said_before_anything_goes_on_record(data):
    page = Hour(data).checks().by_eye().say()
    Store.open(data).add(confirm(
        OrderDraft(landmark="ear canal", threshold="10", unit="mm[Hg]", drain="continuously",
                   limits={"ml_per_hour": "4"}), by=Initials("R.T."), bed=BedCode(BED)))
    page.put()
    assert "R.T. confirmed an order at" in page.text() and "since you began" in page.text()
    assert not entries(data, "volume-reading")
    page.press("Put on record")
    assert len(entries(data, "volume-reading")) == 1


def test_where_the_drainage_ended_nothing_of_it_holds_or_is_due(data):
    Hour(data).checks().by_eye().say().put()
    Store.open(data).add(confirm(EventDraft("drainage-ended"), by=Initials("M.K."),
                                 bed=BedCode(BED)))
    text = Hour(data).text()
    assert "The drainage at this bed ended at" in text and "Next reading" not in text
    assert "No level check is on record." in text and "No setting check is on record." in text
    assert "valid until" not in text
