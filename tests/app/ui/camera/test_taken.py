"""What a press of the page's camera sends: whole photos, a direction that is one, or a sentence."""

from __future__ import annotations

import json
import math

import pytest

from app.ui.camera.taken import unpacked
from vision.errors import PhotoError


def packed(rows: object, *files: bytes) -> bytes:
    """As the page packs it (app/ui/camera/page/talk.js)."""
    head = json.dumps({"photos": rows}).encode()
    return len(head).to_bytes(4, "big") + head + b"".join(files)


def row(size: int, down: object = (0.0, 1.0, 0.0), sd: object = 0.7) -> dict[str, object]:
    return {"bytes": size, "down": down, "sd_deg": sd, "calibrated": False}


def test_photos_come_out_in_their_order_each_with_its_own_direction() -> None:
    one, two = unpacked(packed([row(3), row(2, [0.0, 0.8, 0.6], 0.3)], b"abc", b"de"))
    assert (one.data, two.data) == (b"abc", b"de")
    assert one.gravity is not None and one.gravity.down == (0.0, 1.0, 0.0)
    assert two.gravity is not None and two.gravity.sd_deg == 0.3
    assert two.gravity.source == "page"


@pytest.mark.parametrize("down", [
    None, [], [0, 1], "down", [0, 0, 0], [0, math.nan, 0], [0, -1, 0], [1, 0, 0], [0, 0, 1],
    [0, 1, None], {"y": 1}])
def test_what_is_no_direction_to_the_lower_edge_is_none_and_the_photo_counts(down: object) -> None:
    (only,) = unpacked(packed([row(1, down)], b"a"))
    assert only.gravity is None and only.data == b"a"


@pytest.mark.parametrize("sd", [None, 0, -1, "little", math.inf, 1000])
def test_a_direction_without_a_doubt_is_none(sd: object) -> None:
    assert unpacked(packed([row(1, sd=sd)], b"a"))[0].gravity is None


@pytest.mark.parametrize("sent", [
    b"", b"\xff\xff\xff\xff", b"\x00\x00\x00\x02[]", packed([]), packed([row(2)], b"a"),
    packed([row(1)], b"ab"), packed([row(-1), row(2)], b"a"), packed([row(1)] * 9, b"a" * 9),
    packed({"a": 1}), packed([{"bytes": "1"}], b"a"), packed([7], b"a"),
    b"\x00\x00\x27\x10" + b"[" * 10000])
def test_anything_else_is_one_sentence(sent: bytes) -> None:
    with pytest.raises(PhotoError, match="take them again"):
        unpacked(sent)
