"""An uploaded photo is taken once, and what the browser repeats afterwards does it no harm."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.runtime.uploaded_file_manager import DeletedFile

from app.ui import uploads

PHOTO = Path(__file__).resolve().parents[3] / "sample_images" / "bench-1-pink.jpg"


class Upload:
    """As much of an uploaded file as is used."""

    def __init__(self, data: bytes) -> None:
        self.data = data

    def getvalue(self) -> bytes:
        return self.data


@pytest.fixture
def field(monkeypatch):
    """The state of the page's fields, as the page server holds it."""
    state: dict[str, object] = {}
    monkeypatch.setattr(uploads.st, "session_state", state)
    return state


def handed_on(widget: str) -> list[tuple[bool, str]]:
    seen: list[tuple[bool, str]] = []
    uploads.take(widget, lambda photo, problem: seen.append((photo is not None, problem)))
    return seen


def test_a_photo_is_handed_on(field):
    field["photo-0"] = Upload(PHOTO.read_bytes())
    assert handed_on("photo-0") == [(True, "")]


def test_what_is_no_photo_brings_its_sentence(field):
    field["photo-0"] = Upload(b"<html>no photo</html>")
    ((taken, problem),) = handed_on("photo-0")
    assert not taken and problem and "not foreseen" not in problem


@pytest.mark.parametrize("held", [None, DeletedFile("a1")], ids=["empty", "let go before"])
def test_a_field_without_a_file_changes_nothing(field, held):
    """A tap on its way while the photo came in repeats the field, whose file is gone by then."""
    field["photo-0"] = held
    assert handed_on("photo-0") == []
