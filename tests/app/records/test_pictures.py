"""A kept picture: only when asked, nothing of the photo file in it, never changed."""

from __future__ import annotations

import io
import sqlite3
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from records_help import BED, BY, SCALE, YES, clock, old_record, reading, seen

from app.records import (
    ConfirmError,
    KeptPicture,
    OwnReading,
    ReadingDraft,
    Store,
    confirm,
)


def pixels(seed: int = 1, shape: tuple[int, ...] = (300, 200, 3)) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 255, shape, dtype=np.uint8)


def with_picture(picture, minutes=0.0, **more):
    what = ReadingDraft.of(seen(), scale=SCALE, photo_sha256="ab" * 32,
                           first=OwnReading.read("23"), picture=picture)
    return confirm(what, by=BY, bed=BED, confirmed_value="23.4", attestations=YES,
                   clock=clock(minutes), **more)


@pytest.fixture
def store(tmp_path):
    return Store.open(tmp_path)


def test_nothing_is_kept_unless_asked(store):
    assert store.picture(store.add(reading())) is None
    with store._engine.connect() as c:
        assert c.exec_driver_sql("SELECT count(*) FROM picture").scalar() == 0


def test_a_kept_picture_comes_back_and_is_checked(store):
    picture = KeptPicture.of(pixels())
    entry = store.add(with_picture(picture), picture)
    assert store.picture(entry) == store.picture(store.entry(1)) == picture.jpeg
    assert entry.payload["picture_sha256"] == picture.sha256 and store.verify().ok
    image = Image.open(io.BytesIO(picture.jpeg))
    assert image.size == (200, 300) and not image.getexif() and "icc_profile" not in image.info
    assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_large_crops_are_made_smaller():
    picture = KeptPicture.of(pixels(shape=(3000, 1500, 3)))
    assert max(Image.open(io.BytesIO(picture.jpeg)).size) == 1400


@pytest.mark.parametrize("bad", [np.zeros((5, 5), np.uint8), np.zeros((0, 5, 3), np.uint8),
                                 np.zeros((5, 5, 3)), np.zeros((5, 5, 4), np.uint8)])
def test_only_colour_pixels_can_be_kept(bad):
    with pytest.raises(ConfirmError):
        KeptPicture.of(bad)


def test_the_picture_must_be_the_one_confirmed(store):
    picture, other = KeptPicture.of(pixels(1)), KeptPicture.of(pixels(2))
    for confirmed, given in ((with_picture(picture), other), (with_picture(picture), None),
                             (reading(), picture),
                             (with_picture(picture), KeptPicture(other.jpeg, picture.sha256))):
        with pytest.raises(ConfirmError, match="not the one"):
            store.add(confirmed, given)
    assert store.count() == 0


def test_one_picture_for_two_entries_and_a_double_tap(store):
    picture = KeptPicture.of(pixels())
    confirmed = with_picture(picture, key="k")
    first = store.add(confirmed, picture)
    assert store.add(confirmed, picture) == first
    second = store.add(with_picture(picture, 1), picture)
    assert store.picture(first) == store.picture(second) and store.count() == 2


def test_a_correction_keeps_the_picture(store):
    picture = KeptPicture.of(pixels())
    entry = store.add(with_picture(picture), picture)
    fixed = store.add(confirm(entry.correction("x", confirmed_value="23.6"), by=BY, bed=BED,
                              clock=clock(1)))
    assert store.picture(fixed) == picture.jpeg and store.verify().ok


def test_pictures_are_guarded_and_a_change_by_hand_is_named(store):
    store.add(reading())
    picture = KeptPicture.of(pixels())
    store.add(with_picture(picture, 1), picture)
    file = Path(store._engine.url.database)
    c = sqlite3.connect(file)
    for verb in ("UPDATE picture SET jpeg = x'00'", "DELETE FROM picture",
                 "INSERT OR REPLACE INTO picture SELECT sha256, jpeg FROM picture"):
        with pytest.raises(sqlite3.Error, match="guard"):
            c.execute(verb)
    guard = c.execute("SELECT sql FROM sqlite_master WHERE name = 'picture_no_update'").fetchone()
    c.execute("DROP TRIGGER picture_no_update")
    c.execute("UPDATE picture SET jpeg = substr(jpeg, 2)")
    c.execute(*guard)
    c.commit()
    found = store.verify()
    assert not found.ok and found.broken == 2 and "kept picture" in found.sentence
    gone = c.execute("SELECT sql FROM sqlite_master WHERE name = 'picture_no_delete'").fetchone()
    c.execute("DROP TRIGGER picture_no_delete")
    c.execute("DELETE FROM picture")
    c.execute(*gone)
    c.commit()
    c.close()
    assert "picture is missing" in store.verify().sentence


def test_a_record_of_the_first_form_is_brought_up_to_date_without_loss(tmp_path):
    before = old_record(tmp_path, "0001", 3)
    new = Store.open(tmp_path)
    assert list(new.entries()) == before and new.verify().ok
    picture = KeptPicture.of(pixels())
    assert new.picture(new.add(with_picture(picture, 5), picture)) == picture.jpeg
