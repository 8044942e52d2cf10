"""Down from the maker note: worked examples, other readers, and what must not be believed."""

from __future__ import annotations

import os
import pickle
import shutil
import struct
import subprocess

import numpy as np
import pytest
from photo_files import SECRET, encode
from PIL import Image

from vision.imaging.photo import load_photo

#: Two phones' own files (real photos): acceleration in g with the orientation of the file, and
#: down in the frame of the upright photo (x right, y down, z forward), worked out by hand from
#: the axes that ExifTool's tag documentation names (P. Harvey, "Apple Tags", 0x0008).
UPRIGHT = (6, (0.0049, -0.9915, -0.1529), (0.0049, 0.9915, 0.1529))
ON_ITS_SIDE = (1, (-0.789, -0.054, 0.603), (0.054, 0.789, -0.603))


def note(vector, *, begins=b"Apple iOS\0\0\1MM", count=3, kind=10, more=b"") -> bytes:
    """A maker note with the acceleration as signed rationals, and a secret beside it."""
    values = b"".join(struct.pack(">ii", round(v * 1e6), 10**6) for v in vector)
    at = 14 + 2 + 2 * 12 + 4
    entries = struct.pack(">HHII", 0x0008, kind, count, at) + struct.pack(
        ">HHII", 0x0020, 2, len(SECRET), at + len(values))
    return begins + struct.pack(">H", 2) + entries + bytes(4) + values + SECRET + more


def photo_file(raw: bytes, orientation: int, kind: str = "JPEG", size=(160, 120), **facts) -> bytes:
    data = Image.Exif()
    data[0x0112] = orientation
    sub = data.get_ifd(0x8769)
    sub[0x927C] = raw
    for tag, value in facts.items():
        sub[int(tag[1:], 16)] = value
    rgb = np.full((size[1], size[0], 3), 90, np.uint8)
    return encode(rgb, kind, exif=data.tobytes())


@pytest.mark.parametrize("kind", ["JPEG", "HEIF", "PNG", "WEBP"])
@pytest.mark.parametrize("example", [UPRIGHT, ON_ITS_SIDE])
def test_the_worked_examples(example, kind):
    orientation, acceleration, down = example
    gravity = load_photo(photo_file(note(acceleration), orientation, kind)).camera.gravity
    assert gravity is not None and gravity.source == "photo"
    assert gravity.down == pytest.approx(np.array(down) / np.linalg.norm(down), abs=2e-4)


@pytest.mark.parametrize(("orientation", "acceleration"), [
    # held upright, on either side, and upside down: the lower edge points to the floor in all
    (6, (0.0, -1.0, 0.0)), (1, (-1.0, 0.0, 0.0)), (3, (1.0, 0.0, 0.0)), (8, (0.0, 1.0, 0.0))])
def test_the_lower_edge_of_the_upright_photo_is_down(orientation, acceleration):
    gravity = load_photo(photo_file(note(acceleration), orientation)).camera.gravity
    assert gravity.down == pytest.approx((0, 1, 0), abs=1e-6)
    for other in {1, 3, 6, 8} - {orientation}:
        assert load_photo(photo_file(note(acceleration), other)).camera.gravity is None


@pytest.mark.parametrize("length", [0.9, 0.96, 1.04, 1.3, 0.0])
def test_a_moving_hand_says_nothing(length):
    vector = tuple(length * v for v in (0.0, -0.98, -0.2))
    assert load_photo(photo_file(note(vector), 6)).camera.gravity is None


@pytest.mark.parametrize("raw", [
    b"", b"Apple iOS\0\0\1MM", note(UPRIGHT[1])[:40], note(UPRIGHT[1])[:50],
    note(UPRIGHT[1], begins=b"Another\0\0\0\0\1MM"), note(UPRIGHT[1], count=2),
    note(UPRIGHT[1], count=10**9), note(UPRIGHT[1], kind=2), note(UPRIGHT[1], kind=99),
    note(UPRIGHT[1]).replace(struct.pack(">i", 10**6), bytes(4)),
    b"Apple iOS\0\0\1MM" + b"\xff" * 200])
def test_a_damaged_note_does_no_harm(raw):
    photo = load_photo(photo_file(raw, 6))
    assert photo.camera.gravity is None and (photo.width, photo.height) == (120, 160)


def test_a_photo_cut_afterwards_and_the_camera_on_the_front_are_not_believed():
    raw = note(UPRIGHT[1])
    assert load_photo(photo_file(raw, 6, xA002=4032, xA003=3024)).camera.gravity is not None
    assert load_photo(photo_file(raw, 6, xA002=3024, xA003=4032)).camera.gravity is None
    assert load_photo(photo_file(raw, 6, xA002=4032, xA003=2268)).camera.gravity is None
    assert load_photo(photo_file(raw, 6, xA434="phone front camera 2.7mm")).camera.gravity is None


@pytest.mark.parametrize("kind", ["JPEG", "HEIF"])
def test_nothing_else_of_the_note_stays(kind):
    data = photo_file(note(UPRIGHT[1]), 6, kind)
    assert SECRET in data
    photo = load_photo(data)
    assert photo.camera.gravity is not None
    kept = pickle.dumps(photo)
    assert SECRET not in kept and b"Apple" not in kept


def test_another_reader_finds_the_same_numbers(tmp_path):
    # ExifTool (P. Harvey), which knows this note: an independent reader.
    tool = shutil.which("exiftool")
    if tool is None and not os.environ.get("CI"):
        pytest.skip("no exiftool on this machine")
    assert tool, "install exiftool (libimage-exiftool-perl)"
    rng = np.random.default_rng(5)
    for k in range(4):
        up = rng.normal(size=3) * [0.1, 0, 0.3] - [0, 1, 0]
        up /= np.linalg.norm(up)
        file = tmp_path / f"{k}.jpg"
        file.write_bytes(photo_file(note(up), 6))
        said = subprocess.run([tool, "-n", "-s3", "-AccelerationVector", str(file)],
                              capture_output=True, text=True, check=True).stdout
        left, bottom, into = (float(v) for v in said.split())
        # up in the phone's axes; down in the camera's: right is not left
        gravity = load_photo(file).camera.gravity
        assert gravity.down == pytest.approx((left, -bottom, -into), abs=1e-5)


