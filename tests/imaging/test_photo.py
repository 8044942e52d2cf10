"""Photos: upright whatever the file says, within limits, and nothing kept that identifies."""

from __future__ import annotations

import gc
import io
import pickle

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from photo_files import (
    SECRET,
    encode,
    exif,
    jpeg_with_size,
    picture,
    png_chunk,
    png_header,
    told_everything,
)
from PIL import Image

from vision.errors import PhotoError
from vision.imaging.jpeg_stream import bare_jpeg
from vision.imaging.photo import (
    MAX_FILE_BYTES,
    Photo,
    load_photo,
    photo_from_array,
    scaled_points,
)

ORIENTATIONS = range(1, 9)
JPEG_LEVELS = 6
"""Largest mean difference that quality 95 may make on the smooth test picture."""
MAPPING_PX = 0.15
"""Of full pixels: a twentieth of a stroke; the decoder's own rounding moves less."""


def raw_for(upright: np.ndarray, orientation: int) -> np.ndarray:
    """Pixels as stored in a file that shows ``upright`` under an orientation tag.

    Source of the meaning of 1 to 8 (where the stored first row and first column
    belong): Exif 2.32 (CIPA DC-008-2019), tag Orientation: 1 top-left, 2 top-right,
    3 bottom-right, 4 bottom-left, 5 left-top, 6 right-top, 7 right-bottom,
    8 left-bottom (from memory).
    """
    rows_are = {1: "top", 2: "top", 3: "bottom", 4: "bottom",
                5: "left", 6: "right", 7: "right", 8: "left"}[orientation]
    columns_are = {1: "left", 2: "right", 3: "right", 4: "left",
                   5: "top", 6: "top", 7: "bottom", 8: "bottom"}[orientation]
    sides = {rows_are, columns_are}
    stored = upright
    if "bottom" in sides:
        stored = stored[::-1]
    if "right" in sides:
        stored = stored[:, ::-1]
    if rows_are in ("left", "right"):
        stored = stored.transpose(1, 0, 2)
    return np.ascontiguousarray(stored)


def close(a: np.ndarray, b: np.ndarray, levels: float = JPEG_LEVELS) -> bool:
    return a.shape == b.shape and float(np.abs(a.astype(int) - b).mean()) < levels


# --- orientation

@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_every_orientation_comes_out_upright(kind: str, orientation: int) -> None:
    upright = picture()
    data = encode(raw_for(upright, orientation), kind, exif=exif(orientation))
    photo = load_photo(data)
    assert (photo.width, photo.height) == (240, 160)
    assert close(photo.rgb, upright)


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_orientation_agrees_with_another_decoder(orientation: int) -> None:
    """Reference library: OpenCV's imdecode, which obeys the tag by itself."""
    data = encode(picture(), exif=exif(orientation))
    theirs = cv2.cvtColor(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR),
                          cv2.COLOR_BGR2RGB)
    assert close(load_photo(data).rgb, theirs, levels=1.0)


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_heic_is_turned_once_though_it_says_so_twice(orientation: int) -> None:
    upright = picture()
    # Written with the turn in the container and, again, in the EXIF that goes along.
    data = encode(raw_for(upright, orientation), "HEIF", exif=exif(orientation, 26))
    if orientation in (3, 6, 8):
        assert b"irot" in data
    photo = load_photo(data)
    assert close(photo.rgb, upright)
    assert photo.camera.focal_35mm == 26


def test_heic_is_not_turned_by_its_exif_alone() -> None:
    """The container decides (ISO/IEC 23008-12: transformative properties; EXIF only informs)."""
    facts = Image.Exif()
    facts[0x0112] = 6
    data = encode(picture(), "HEIF", exif=facts)
    assert b"irot" not in data
    assert close(load_photo(data).rgb, picture())


@pytest.mark.parametrize("entry", [
    b"\x00\x03\x00\x00\x00\x01\x00\x00", b"\x00\x03\x00\x00\x00\x01\x00\x09",
    b"\x00\x03\x00\x00\x00\x01\xff\xff", b"\x00\x02\x00\x00\x00\x016\x00",
    b"\x00\x03\x00\x00\x00\x00\x00\x06", b"\x00\x0c\xff\xff\xff\xff\x00\x06",
], ids=["zero", "nine", "65535", "text", "no-value", "endless"])
def test_an_orientation_that_means_nothing_is_ignored(entry: bytes) -> None:
    honest = exif(6)
    tag = b"\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06"
    assert tag in honest
    lie = honest.replace(tag, b"\x01\x12" + entry)
    assert close(load_photo(encode(picture(), exif=lie)).rgb, picture())


# --- working picture

def dot(width: int, height: int, x: float, y: float, sigma: float = 6.0) -> np.ndarray:
    """A soft dark dot centred at (x, y) on a light ground."""
    yy = np.exp(-((np.arange(height) - y) ** 2) / (2 * sigma**2))
    xx = np.exp(-((np.arange(width) - x) ** 2) / (2 * sigma**2))
    gray = 210 - 160 * np.outer(yy, xx)
    return np.repeat(np.rint(gray).astype(np.uint8)[:, :, None], 3, axis=2)


def centre_of_dot(rgb: np.ndarray) -> tuple[float, float]:
    weight = np.maximum(0.0, 200.0 - rgb[:, :, 1].astype(float))
    return (float((weight.sum(axis=0) * np.arange(rgb.shape[1])).sum() / weight.sum()),
            float((weight.sum(axis=1) * np.arange(rgb.shape[0])).sum() / weight.sum()))


@pytest.mark.slow
@pytest.mark.parametrize("orientation", ORIENTATIONS)
@pytest.mark.parametrize("size", [(3000, 2004), (2999, 2003)], ids=["even", "odd"])
def test_points_of_the_working_picture_fall_on_the_full_one(
        orientation: int, size: tuple[int, int]) -> None:
    width, height = size
    upright = dot(width, height, 1200.3, 701.8)
    data = encode(raw_for(upright, orientation), exif=exif(orientation))
    photo = load_photo(data)
    assert photo.working_scale == 2
    assert photo.working_rgb.shape == (height // 2, width // 2, 3)
    found = photo.to_full(centre_of_dot(photo.working_rgb))
    assert found == pytest.approx((1200.3, 701.8), abs=MAPPING_PX)
    assert photo.rgb.shape == (height, width, 3)
    assert centre_of_dot(photo.rgb) == pytest.approx((1200.3, 701.8), abs=MAPPING_PX)


@pytest.mark.slow
def test_a_very_large_photo_is_searched_at_a_quarter() -> None:
    photo = load_photo(encode(dot(6400, 4800, 3000.3, 2001.8, sigma=12.0)))
    assert photo.working_scale == 4
    assert photo.working_rgb.shape == (1200, 1600, 3)
    found = photo.to_full(centre_of_dot(photo.working_rgb))
    assert found == pytest.approx((3000.3, 2001.8), abs=2 * MAPPING_PX)


@pytest.mark.parametrize("subsampling", [0, 1, 2])
@pytest.mark.parametrize("size, scale", [((3000, 2400), 2), ((6400, 4800), 4)])
def test_a_working_picture_is_to_the_last_bit_that_of_another_decoder(
        size: tuple[int, int], scale: int, subsampling: int) -> None:
    """Pillow's, which decodes a JPEG at a smaller size by its ``draft``."""
    data = encode(picture(*size), subsampling=subsampling)
    theirs = Image.open(io.BytesIO(data))
    theirs.draft(None, (size[0] // scale, size[1] // scale))
    photo = load_photo(data)
    assert photo.working_scale == scale
    assert np.array_equal(photo.working_rgb, np.asarray(theirs))


def test_a_large_png_gets_a_working_picture_too() -> None:
    photo = load_photo(encode(dot(3000, 2004, 900.4, 333.1), "PNG", compress_level=1))
    assert photo.working_scale == 2
    assert photo.to_full(centre_of_dot(photo.working_rgb)) == pytest.approx((900.4, 333.1),
                                                                            abs=0.05)


def test_a_small_photo_is_its_own_working_picture() -> None:
    photo = load_photo(encode(picture()))
    assert photo.working_scale == 1
    assert photo.rgb is photo.working_rgb


@pytest.mark.slow
def test_the_full_picture_is_what_another_decoder_sees() -> None:
    data = encode(dot(3000, 2004, 100, 100))
    theirs = cv2.cvtColor(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR),
                          cv2.COLOR_BGR2RGB)
    photo = load_photo(data)
    assert close(photo.rgb, theirs, levels=0.5)
    assert photo.rgb is photo.rgb


@settings(deadline=None, derandomize=True)
@given(x=st.floats(-100, 9000), y=st.floats(-100, 9000), k=st.sampled_from([1, 2, 4]))
def test_the_two_mappings_undo_each_other(x: float, y: float, k: int) -> None:
    photo = photo_from_array(picture(96, 64), working_scale=k)
    assert photo.to_working(photo.to_full((x, y))) == pytest.approx((x, y), abs=1e-6)


def test_pixels_cannot_be_written_to() -> None:
    photo = load_photo(encode(picture()))
    for array in (photo.rgb, photo.working_rgb, photo.working_gray):
        assert array.dtype == np.uint8 and array.flags.c_contiguous
        with pytest.raises(ValueError, match="read-only"):
            array[0, 0] = 0


# --- colour modes

def flat(mode: str, colour: object) -> Image.Image:
    return Image.new(mode, (120, 80), colour)  # type: ignore[arg-type]


@pytest.mark.parametrize(("kind", "image", "rgb"), [
    ("PNG", flat("L", 100), (100, 100, 100)),
    ("PNG", flat("1", 1), (255, 255, 255)),
    ("PNG", flat("LA", (100, 255)), (100, 100, 100)),
    ("PNG", flat("RGBA", (10, 120, 200, 255)), (10, 120, 200)),
    ("PNG", flat("RGBA", (10, 120, 200, 0)), (255, 255, 255)),
    ("PNG", flat("RGB", (10, 120, 200)).convert("P", palette=Image.Palette.ADAPTIVE),
     (10, 120, 200)),
    ("PNG", Image.fromarray(np.full((80, 120), 100 * 257, np.uint16)), (100, 100, 100)),
    ("JPEG", flat("L", 100), (100, 100, 100)),
    ("JPEG", flat("CMYK", (0, 255, 255, 0)), (255, 0, 0)),
    ("WEBP", flat("RGBA", (10, 120, 200, 0)), (255, 255, 255)),
], ids=["gray", "one-bit", "gray-alpha", "opaque", "clear", "palette", "16-bit", "jpeg-gray",
        "cmyk", "webp-clear"])
def test_any_colour_mode_becomes_plain_rgb(kind: str, image: Image.Image,
                                           rgb: tuple[int, int, int], tmp_path) -> None:
    path = tmp_path / "photo.bin"
    image.save(path, kind)
    photo = load_photo(path)
    assert photo.rgb.shape == (80, 120, 3)
    assert photo.rgb.reshape(-1, 3).mean(axis=0) == pytest.approx(rgb, abs=4)


def test_16_bit_keeps_its_gradation(tmp_path) -> None:
    ramp = np.tile(np.linspace(0, 65535, 256).astype(np.uint16), (64, 1))
    Image.fromarray(ramp).save(tmp_path / "ramp.png")
    seen = load_photo(tmp_path / "ramp.png").rgb[10, :, 0].astype(int)
    assert np.abs(seen - np.arange(256)).max() <= 1


def test_a_colour_profile_changes_no_pixel() -> None:
    from PIL import ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    with_it = load_photo(encode(picture(), icc_profile=profile))
    assert np.array_equal(with_it.rgb, load_photo(encode(picture())).rgb)
    broken = load_photo(encode(picture(), icc_profile=b"no profile at all"))
    assert np.array_equal(broken.rgb, with_it.rgb)


# --- camera facts, and what is dropped

def test_camera_facts_are_kept() -> None:
    photo = load_photo(encode(picture(), exif=exif(1, 26, 1.4)))
    assert photo.camera.focal_35mm == 26
    assert photo.camera.digital_zoom == pytest.approx(1.4)


@pytest.mark.parametrize("lie", [0, 1, 7, 401, 65535])
def test_an_absurd_focal_length_counts_as_unknown(lie: int) -> None:
    assert load_photo(encode(picture(), exif=exif(1, lie))).camera.focal_35mm is None


@pytest.mark.parametrize("lie", [0.0, 0.5, 5000.0])
def test_an_absurd_zoom_counts_as_none(lie: float) -> None:
    assert load_photo(encode(picture(), exif=exif(1, 26, lie))).camera.digital_zoom == 1.0


def test_damaged_exif_does_not_stop_a_reading() -> None:
    facts = told_everything()
    for end in (8, 14, 40, len(facts) // 2):
        photo = load_photo(encode(picture(), exif=facts[:end]))
        assert close(photo.rgb, picture())


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "size"), [
    ("JPEG", (240, 160)), ("PNG", (240, 160)), ("WEBP", (240, 160)), ("HEIF", (240, 160)),
    ("JPEG", (3000, 2004)), ("PNG", (3000, 2004)),
])
def test_place_and_device_are_not_kept(kind: str, size: tuple[int, int]) -> None:
    options = {"compress_level": 1} if kind == "PNG" else {}
    data = encode(picture(*size), kind, exif=told_everything(), **options)
    assert SECRET in data
    photo = load_photo(data)
    assert photo.camera.focal_35mm == 26
    assert not any(SECRET in kept for kept in bytes_reachable_from(photo))
    photo.rgb  # noqa: B018 - decoding must not bring it back
    assert not any(SECRET in kept for kept in bytes_reachable_from(photo))


@pytest.mark.slow
def test_a_second_picture_behind_the_first_is_cut_off() -> None:
    hidden = encode(picture(), exif=told_everything())
    photo = load_photo(encode(picture(3000, 2004)) + hidden)
    assert not any(SECRET in kept for kept in bytes_reachable_from(photo))
    assert photo.rgb.shape == (2004, 3000, 3)


def bytes_reachable_from(photo: Photo) -> list[bytes]:
    """Every bytes and text object that the photo, its fields and closures hold on to."""
    seen: set[int] = set()
    found: list[bytes] = []
    todo: list[object] = [vars(photo), photo._decode_full]
    while todo:
        thing = todo.pop()
        if id(thing) in seen or isinstance(thing, type) or type(thing).__name__ == "module":
            continue
        seen.add(id(thing))
        if isinstance(thing, bytes):
            found.append(thing)
        elif isinstance(thing, str):
            found.append(thing.encode("utf-8", "replace"))
        elif isinstance(thing, np.ndarray):
            found.append(thing.tobytes() if thing.size < 200_000 else b"")
        elif hasattr(thing, "__closure__"):
            todo += [cell.cell_contents for cell in thing.__closure__ or ()]
            todo += [thing.__defaults__]
        elif isinstance(thing, (dict, list, tuple, set)):
            todo += gc.get_referents(thing)
        elif hasattr(thing, "__dict__"):
            todo.append(vars(thing))
    return found


# --- limits hold before decoding

class Decoded(AssertionError):
    """Raised by the trap that stands for the decoder."""


@pytest.fixture
def no_decoding(monkeypatch: pytest.MonkeyPatch) -> None:
    def trap(self: Image.Image, *args: object) -> None:
        raise Decoded

    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", trap)
    monkeypatch.setattr("vision.imaging.photo.bare_jpeg", trap)


@pytest.mark.parametrize("data", [
    png_header(60000, 60000), png_header(9000, 9000), png_header(2**31 - 1, 2**31 - 1),
    jpeg_with_size(60000, 60000), jpeg_with_size(9000, 9000),
], ids=["png-60000", "png-9000", "png-2e31", "jpeg-60000", "jpeg-9000"])
@pytest.mark.usefixtures("no_decoding")
def test_too_many_pixels_are_refused_from_the_header(data: bytes) -> None:
    with pytest.raises(PhotoError, match="50 megapixels"):
        load_photo(data)


@pytest.mark.usefixtures("no_decoding")
def test_a_file_too_large_is_not_even_read(tmp_path) -> None:
    path = tmp_path / "huge.jpg"
    with path.open("wb") as stream:
        stream.write(encode(picture()))
        stream.truncate(MAX_FILE_BYTES + 1)
    with pytest.raises(PhotoError, match="40 MB"):
        load_photo(path)


def test_text_that_unpacks_to_far_more_is_refused() -> None:
    """Pillow's own limit on compressed text chunks; here only that it ends in a sentence."""
    import zlib

    body = b"Comment\x00\x00" + zlib.compress(bytes(80_000_000), 9)
    good = encode(picture(), "PNG")
    with pytest.raises(PhotoError):
        load_photo(good[:33] + png_chunk(b"zTXt", body) + good[33:])


def test_fifty_megapixels_are_allowed_by_the_header() -> None:
    """The file is too short, which is only found out after the size was accepted."""
    with pytest.raises(PhotoError, match="complete|damaged"):
        load_photo(jpeg_with_size(8192, 6144)[:-200])


# --- corruption shows at load

@pytest.mark.parametrize("share", [0.3, 0.6, 0.9, 0.999])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_a_photo_cut_short_is_refused_at_load(kind: str, share: float) -> None:
    data = encode(picture(480, 320), kind)
    with pytest.raises(PhotoError, match="complete|damaged|film"):
        load_photo(data[:int(len(data) * share)])


@pytest.mark.slow
def test_a_large_photo_cut_short_is_refused_at_load() -> None:
    data = encode(picture(3000, 2004))
    with pytest.raises(PhotoError, match="complete"):
        load_photo(data[:-2])


@pytest.mark.slow
@settings(deadline=None, derandomize=True, max_examples=200)
@given(position=st.floats(0, 1), value=st.integers(0, 255))
def test_no_single_wrong_byte_gives_anything_but_a_photo_or_a_sentence(
        position: float, value: int) -> None:
    data = bytearray(encode(picture(96, 64), exif=exif(6, 26)))
    data[int(position * (len(data) - 1))] = value
    try:
        photo = load_photo(bytes(data))
    except PhotoError as error:
        assert str(error).endswith(".")
    else:
        assert photo.rgb.shape == (photo.height, photo.width, 3)


def test_the_bare_stream_is_the_same_picture_to_another_decoder() -> None:
    for options in ({}, {"progressive": True}, {"subsampling": 2, "restart_marker_rows": 1}):
        data = encode(picture(), exif=told_everything(), comment=SECRET, **options)
        bare = bare_jpeg(data)
        assert SECRET not in bare.data and len(bare.data) < len(data)
        assert (bare.scans > 1) == ("progressive" in options)
        seen, original = (cv2.imdecode(np.frombuffer(d, np.uint8), cv2.IMREAD_COLOR)
                          for d in (bare.data, data))
        assert np.array_equal(seen, original)


# --- from an array

def test_a_photo_from_an_array() -> None:
    rgb = picture()
    photo = photo_from_array(rgb, 26.0)
    assert np.array_equal(photo.rgb, rgb)
    assert photo.camera.focal_35mm == 26
    rgb[:] = 0
    assert photo.rgb.any(), "the photo must not follow later changes of the array"
    gray = photo_from_array(picture()[:, :, 0])
    assert gray.rgb.shape == (160, 240, 3)


def test_a_working_picture_from_an_array_is_the_mean_of_blocks() -> None:
    rgb = picture(240, 160)
    photo = photo_from_array(rgb, working_scale=4)
    blocks = rgb.reshape(40, 4, 60, 4, 3).mean(axis=(1, 3))
    assert np.abs(photo.working_rgb - blocks).max() <= 1


@pytest.mark.parametrize("bad", [np.zeros((8, 8, 4), np.uint8), np.zeros((8, 8, 3)),
                                 np.zeros((0, 8, 3), np.uint8), np.zeros(8, np.uint8)])
def test_an_array_that_is_no_picture_is_refused(bad: np.ndarray) -> None:
    with pytest.raises(PhotoError):
        photo_from_array(bad)


def test_equal_files_have_equal_digests_and_others_not() -> None:
    one, two = encode(picture()), encode(picture(), quality=80)
    assert load_photo(one).sha256 == load_photo(one).sha256 != load_photo(two).sha256
    import hashlib

    assert load_photo(one).sha256 == hashlib.sha256(one).hexdigest()


def test_a_small_photo_travels_between_processes() -> None:
    photo = photo_from_array(picture(), 26.0)
    back = pickle.loads(pickle.dumps(photo))
    assert np.array_equal(back.rgb, photo.rgb) and back.camera == photo.camera


def test_points_of_a_picture_and_of_the_same_one_at_another_size() -> None:
    """Hand sum: of two pixels made one, the middle (0.5) is the centre of the first (0)."""
    assert scaled_points([0.5, 2.5], 1 / 2) == pytest.approx([0.0, 1.0])
    assert scaled_points([[0.0, 1.0]], 2) == pytest.approx(np.array([[0.5, 2.5]]))
    assert scaled_points(scaled_points([3.3, 7.7], 1 / 3), 3) == pytest.approx([3.3, 7.7])


def test_a_photo_holds_what_lies_on_its_pixels() -> None:
    photo = photo_from_array(np.zeros((60, 80, 3), np.uint8))
    assert photo.holds((-0.5, -0.5)) and photo.holds((79.5, 59.5))
    assert not any(photo.holds(p) for p in ((-0.6, 5), (5, 59.6), (float("nan"), 5)))


def test_the_same_photo_with_all_its_pixels_to_search_in() -> None:
    rgb = np.random.default_rng(1).integers(0, 255, (64, 96, 3)).astype(np.uint8)
    full = photo_from_array(rgb, working_scale=2).at_full_size()
    assert full.working_scale == 1 and full.working_size == (96, 64)
    assert (full.working_rgb == rgb).all() and (full.rgb == rgb).all()
