"""The ward's own scale of a bed waits for the next reading there, and for no other."""

from __future__ import annotations

import json
from pathlib import Path

from app.bed_scales import FOLDER, keep_scale, kept_scale

FILE = (Path(__file__).resolve().parents[2] / "vision" / "data" / "scales"
        / "quay-60.json").read_text(encoding="utf-8")
OWN = json.dumps({**json.loads(FILE), "name": "ward-60"}).encode()


def test_it_is_found_by_bed_and_name(tmp_path):
    keep_scale(tmp_path, "QUAY-3 / L", OWN)
    assert kept_scale(tmp_path, "quay-3 / l", "ward-60").name == "ward-60"
    assert kept_scale(tmp_path, "QUAY-3 / L", "ward-50") is None, "read with another one since"
    assert kept_scale(tmp_path, "QUAY-3 / R", "ward-60") is None


def test_a_file_that_begins_with_a_mark_of_its_coding_is_kept_as_well(tmp_path):
    """As some editors save it (a byte order mark, RFC 8259, 8.1)."""
    keep_scale(tmp_path, "QUAY-3", b"\xef\xbb\xbf" + OWN)
    assert kept_scale(tmp_path, "QUAY-3", "ward-60").name == "ward-60"


def test_a_file_that_was_spoiled_is_as_good_as_none(tmp_path):
    keep_scale(tmp_path, "QUAY-3", OWN)
    (file,) = (tmp_path / FOLDER).iterdir()
    file.write_bytes(b"{")
    assert kept_scale(tmp_path, "QUAY-3", "ward-60") is None
