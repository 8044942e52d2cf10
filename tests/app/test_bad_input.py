"""Bad input: one clear sentence, exit code 2, no traceback, nothing written."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from photo_files import animated, encode, jpeg_with_size, many_scans, picture, png_header
from PIL import Image

from app.cli import main
from vision.errors import CountersightError, PhotoError, ScaleFileError
from vision.imaging.photo import load_photo
from vision.scale_file.scale import load_scale, parse_scale_text

LONGEST_SENTENCE = 240


def is_one_sentence(text: str) -> bool:
    """One line, ends with a full stop, short enough for a phone, no program's words."""
    body = text.strip()
    words = ("Traceback", "Error:", "Exception", "0x", "<class", "None")
    return (body.endswith(".") and "\n" not in body and 10 < len(body) <= LONGEST_SENTENCE
            and not any(word in body for word in words))


# --- photos

HTML = b"<!DOCTYPE html><html><body>404 the picture has moved</body></html>"


def jpeg() -> bytes:
    return encode(picture())


def png() -> bytes:
    return encode(picture(), "PNG")


def saved(image: Image.Image, kind: str) -> bytes:
    import io

    buffer = io.BytesIO()
    image.save(buffer, kind)
    return buffer.getvalue()


BAD_PHOTOS: dict[str, Callable[[], bytes]] = {
    "empty": lambda: b"",
    "one byte": lambda: b"\xff",
    "jpeg start only": lambda: b"\xff\xd8\xff",
    "jpeg truncated": lambda: jpeg()[:2000],
    "jpeg without its end": lambda: jpeg()[:-2],
    "jpeg header only": lambda: jpeg()[:300],
    "jpeg tables zeroed": lambda: jpeg()[:20] + bytes(200) + jpeg()[220:],
    "jpeg tail zeroed": lambda: jpeg()[:3000] + bytes(len(jpeg()) - 3000),
    "jpeg of no size": lambda: jpeg_with_size(0, 0),
    "jpeg that claims 60000 x 60000": lambda: jpeg_with_size(60000, 60000),
    "jpeg that claims 65500 x 100": lambda: jpeg_with_size(65500, 100),
    "jpeg with hundreds of scans": many_scans,
    "png truncated": lambda: png()[:len(png()) // 2],
    "png header only": lambda: png()[:33],
    "png that claims 60000 x 60000": lambda: png_header(60000, 60000),
    "png that claims no size": lambda: png_header(0, 0),
    "png with missing pixels": lambda: png_header(400, 300),
    "png of an impossible depth": lambda: png_header(400, 300, depth=7),
    "png sent as text": lambda: png().replace(b"\r\n", b"\n"),
    "png with a wrong checksum": lambda: png()[:60] + b"\x00\x01\x02" + png()[63:],
    "webp truncated": lambda: encode(picture(), "WEBP")[:500],
    "webp header only": lambda: b"RIFF\x00\x10\x00\x00WEBPVP8 ",
    "heic truncated": lambda: encode(picture(), "HEIF")[:400],
    "heic boxes only": lambda: b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + bytes(40),
    "1 x 1": lambda: encode(picture()[:1, :1]),
    "a strip 4000 x 10": lambda: encode(np.zeros((10, 4000, 3), np.uint8)),
    "animated gif": lambda: animated("GIF"),
    "animated webp": lambda: animated("WEBP"),
    "animated png": lambda: animated("PNG"),
    "still gif": lambda: saved(Image.fromarray(picture()), "GIF"),
    "bitmap": lambda: saved(Image.fromarray(picture()), "BMP"),
    "tiff": lambda: saved(Image.fromarray(picture()), "TIFF"),
    "web page": lambda: HTML,
    "web page after a byte order mark": lambda: b"\xef\xbb\xbf\n " + HTML,
    "drawing": lambda: b"<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg'/>",
    "pdf": lambda: b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n",
    "zip archive": lambda: b"PK\x03\x04" + bytes(200),
    "film": lambda: b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00isommp42" + bytes(200),
    "moving heic": lambda: b"\x00\x00\x00\x18ftyphevc\x00\x00\x00\x00msf1hevc" + bytes(200),
    "avif": lambda: b"\x00\x00\x00\x1cftypavif\x00\x00\x00\x00mif1avifmiaf" + bytes(200),
    "jpeg xl": lambda: b"\xff\x0a" + bytes(range(200)),
    "sound": lambda: b"RIFF\x24\x00\x00\x00WAVEfmt " + bytes(200),
    "json": lambda: b'{"photo": "none"}',
    "plain text": lambda: b"the photo is attached to the other mail\n",
    "zeros": lambda: bytes(5000),
    "noise": lambda: np.random.default_rng(7).bytes(5000),
    "a photo behind other bytes": lambda: b"x" * 100 + jpeg(),
}


@pytest.mark.parametrize("kind", BAD_PHOTOS)
def test_a_bad_photo_gives_one_sentence(
        kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "photo.jpg"  # the name says JPEG whatever is inside
    path.write_bytes(BAD_PHOTOS[kind]())
    overlay = tmp_path / "overlay.png"
    code = main(["read", str(path), "--scale", "quay-60", "--json", "--overlay", str(overlay)])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert is_one_sentence(err), err
    assert not overlay.exists()


def test_the_sentences_for_bad_photos_tell_the_kinds_apart() -> None:
    """A web page, a film, a short file and a huge one need different next steps."""
    sentences = set()
    for kind in ("web page", "film", "jpeg truncated", "png that claims 60000 x 60000",
                 "animated png", "pdf", "empty", "1 x 1", "tiff", "noise"):
        with pytest.raises(PhotoError) as caught:
            load_photo(BAD_PHOTOS[kind]())
        sentences.add(str(caught.value))
    assert len(sentences) == 10


ODD_BUT_GOOD: dict[str, Callable[[], bytes]] = {
    "cmyk": lambda: saved(Image.fromarray(picture()).convert("CMYK"), "JPEG"),
    "16-bit": lambda: saved(Image.fromarray(
        picture()[:, :, 0].astype(np.uint16) * 257), "PNG"),
    "gray": lambda: saved(Image.fromarray(picture()).convert("L"), "JPEG"),
    "palette": lambda: saved(Image.fromarray(picture()).convert("P"), "PNG"),
    "progressive": lambda: encode(picture(), progressive=True),
    "bytes behind the end": lambda: jpeg() + b"\x00" * 1000 + b"more",
    "restart markers": lambda: encode(picture(), restart_marker_rows=1),
}


@pytest.mark.parametrize("kind", ODD_BUT_GOOD)
def test_an_odd_but_good_photo_is_taken(kind: str) -> None:
    photo = load_photo(ODD_BUT_GOOD[kind]())
    assert photo.rgb.shape == (160, 240, 3)
    assert photo.rgb.std() > 20


# --- scale files

GOOD_SCALE: dict[str, Any] = {
    "name": "test-60", "unit": "mL", "direction": "up", "inner_diameter_mm": 30.0,
    "wall_mm": 1.5, "capacity": 60, "height_mm": [[0, 0.0], [60, 84.883]],
    "marks": [{"from": 0, "to": 60, "step": 1, "length": "short"},
              {"from": 0, "to": 60, "step": 5, "length": "long", "label": True}],
}
RUN = {"from": 0, "to": 60, "step": 1, "length": "short"}
FLAT = {"name": "panel", "unit": "cm[H2O]", "capacity": 20, "height_mm": [[-5, 0], [20, 250]],
        "marks": [{"from": -5, "to": 20, "step": 1, "length": "short"}]}

#: What is wrong -> (changed fields, the field that the sentence must name).  ... removes it.
BAD_FIELDS: dict[str, tuple[dict[str, Any], str]] = {
    "no name": ({"name": ...}, "name"),
    "name a number": ({"name": 5}, "name"),
    "name empty": ({"name": "  "}, "name"),
    "name endless": ({"name": "a" * 5000}, "name"),
    "name with control characters": ({"name": "a\u0000b"}, "name"),
    "no unit": ({"unit": ...}, "unit"),
    "unit nothing": ({"unit": None}, "unit"),
    "unit unknown": ({"unit": "gallons"}, "unit"),
    "unit misspelt": ({"unit": "mmHg"}, "unit"),
    "unit a list": ({"unit": ["mL"]}, "unit"),
    "direction sideways": ({"direction": "sideways"}, "direction"),
    "direction a number": ({"direction": 1}, "direction"),
    "direction against heights": ({"direction": "down"}, "height_mm"),
    "no capacity": ({"capacity": ...}, "capacity"),
    "capacity zero": ({"capacity": 0}, "capacity"),
    "capacity negative": ({"capacity": -60}, "capacity"),
    "capacity text": ({"capacity": "60"}, "capacity"),
    "capacity true": ({"capacity": True}, "capacity"),
    "capacity below the marks": ({"capacity": 50}, "marks"),
    "capacity beyond counting": ({"capacity": 10**400}, "capacity"),
    "no heights": ({"height_mm": ...}, "height_mm"),
    "heights empty": ({"height_mm": []}, "height_mm"),
    "heights a number": ({"height_mm": 84.9}, "height_mm"),
    "one height": ({"height_mm": [[0, 0]]}, "height_mm"),
    "heights not pairs": ({"height_mm": [0, 60]}, "height_mm"),
    "heights triples": ({"height_mm": [[0, 0, 0], [60, 84, 0]]}, "height_mm"),
    "heights text": ({"height_mm": [["0", "0"], ["60", "84.9"]]}, "height_mm"),
    "heights not rising": ({"height_mm": [[0, 0], [30, 50], [60, 40]]}, "height_mm"),
    "heights level": ({"height_mm": [[0, 0], [60, 0]]}, "height_mm"),
    "values not rising": ({"height_mm": [[0, 0], [40, 50], [30, 84]]}, "height_mm"),
    "values twice": ({"height_mm": [[0, 0], [0, 50], [60, 84]]}, "height_mm"),
    "heights in metres": ({"height_mm": [[0, 0], [60, 0.0849]]}, "height_mm"),
    "heights too many": ({"height_mm": [[k, k] for k in range(5000)]}, "height_mm"),
    "heights short of the marks": ({"height_mm": [[0, 0], [30, 42.44]]}, "height_mm"),
    "no diameter": ({"inner_diameter_mm": ...}, "inner_diameter_mm"),
    "diameter nothing": ({"inner_diameter_mm": None}, "inner_diameter_mm"),
    "diameter zero": ({"inner_diameter_mm": 0}, "inner_diameter_mm"),
    "diameter negative": ({"inner_diameter_mm": -30}, "inner_diameter_mm"),
    "diameter text": ({"inner_diameter_mm": "30 mm"}, "inner_diameter_mm"),
    "diameter is the radius": ({"inner_diameter_mm": 15.0}, "inner_diameter_mm"),
    "diameter in cm": ({"inner_diameter_mm": 3.0}, "inner_diameter_mm"),
    "diameter knots broken": ({"inner_diameter_mm": [[0, 30], [60, -30]]}, "inner_diameter_mm"),
    "diameter knots empty": ({"inner_diameter_mm": []}, "inner_diameter_mm"),
    "wall negative": ({"wall_mm": -1}, "wall_mm"),
    "wall of a castle": ({"wall_mm": 900}, "wall_mm"),
    "wall text": ({"wall_mm": "thin"}, "wall_mm"),
    "tolerance negative": ({"tolerance": -1}, "tolerance"),
    "tolerance above the capacity": ({"tolerance": 100}, "tolerance"),
    "tolerance misspelt": ({"tolerence": 1}, "tolerence"),
    "reading point middle": ({"reading_point": "middle"}, "reading_point"),
    "no marks": ({"marks": ...}, "marks"),
    "marks empty": ({"marks": []}, "marks"),
    "marks an object": ({"marks": RUN}, "marks"),
    "marks of text": ({"marks": ["0 to 60"]}, "marks"),
    "one mark": ({"marks": [{**RUN, "to": 0}]}, "marks"),
    "step zero": ({"marks": [{**RUN, "step": 0}]}, "step"),
    "step negative": ({"marks": [{**RUN, "step": -1}]}, "step"),
    "step missing": ({"marks": [{k: v for k, v in RUN.items() if k != "step"}]}, "step"),
    "millions of marks": ({"marks": [{**RUN, "step": 1e-5}]}, "marks"),
    "endless marks": ({"marks": [{**RUN, "step": 5e-324}]}, "marks"),
    "marks upside down": ({"marks": [{**RUN, "from": 60, "to": 0}]}, "marks"),
    "marks above the capacity": ({"marks": [{**RUN, "to": 90}]}, "marks"),
    "marks below zero": ({"marks": [{**RUN, "from": -5}]}, "marks"),
    "marks of no known length": ({"marks": [{**RUN, "length": "medium"}]}, "length"),
    "marks without length": ({"marks": [{"from": 0, "to": 60, "step": 1}]}, "length"),
    "label a word": ({"marks": [{**RUN, "label": "yes"}]}, "label"),
    "marks a hair apart": ({"marks": [{**RUN, "to": 1, "step": 0.01}]}, "marks"),
    "too many runs": ({"marks": [RUN] * 500}, "marks"),
}


@pytest.mark.parametrize("wrong", BAD_FIELDS)
def test_a_bad_scale_file_is_refused_by_its_field(
        wrong: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    changes, field = BAD_FIELDS[wrong]
    content = copy.deepcopy(GOOD_SCALE)
    for key, value in changes.items():
        if value is ...:
            del content[key]
        else:
            content[key] = value
    path = tmp_path / "scale.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(ScaleFileError) as caught:
        load_scale(path)
    assert caught.value.field is not None and field in caught.value.field
    assert caught.value.field in str(caught.value)
    assert main(["scales", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and is_one_sentence(err), err


def test_the_scale_that_the_bad_ones_start_from_is_good() -> None:
    scale = parse_scale_text(json.dumps(GOOD_SCALE))
    assert len(scale.marks) == 61 and scale.division_at(30) == 1
    assert parse_scale_text(json.dumps(FLAT)).flat


def test_a_pressure_scale_has_no_bore() -> None:
    with pytest.raises(ScaleFileError, match="inner_diameter_mm"):
        parse_scale_text(json.dumps({**FLAT, "inner_diameter_mm": 30}))


BAD_SCALE_FILES: dict[str, bytes] = {
    "empty": b"",
    "blanks": b"  \n ",
    "not json": b"name: quay-60",
    "half of it": json.dumps(GOOD_SCALE).encode()[:120],
    "a photo": encode(picture()),
    "not utf-8": "{\"name\": \"M\u00fcller\"}".encode("latin-1"),
    "utf-16": json.dumps(GOOD_SCALE).encode("utf-16"),
    "a list": b"[1, 2]",
    "a number": b"12",
    "nothing": b"null",
    "not a number": b'{"capacity": NaN}',
    "infinity": b'{"capacity": -Infinity}',
    "too large a number": json.dumps(GOOD_SCALE).replace("84.883", "1e999").encode(),
    "a number of 6000 digits": b'{"capacity": ' + b"9" * 6000 + b"}",
    "a key twice": b'{"name": "a", "name": "b"}',
    "a key twice in the marks": json.dumps(GOOD_SCALE).replace(
        '"step": 1,', '"step": 1, "step": 2,').encode(),
    "deep nesting": b"[" * 100_000,
    "too large": b" " * 300_000 + b"{}",
    "a web page": HTML,
}


@pytest.mark.parametrize("kind", BAD_SCALE_FILES)
def test_a_file_that_is_no_scale_file_gives_one_sentence(
        kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "scale.json"
    path.write_bytes(BAD_SCALE_FILES[kind])
    assert main(["scales", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and is_one_sentence(err), err


# --- the command line

BAD_COMMANDS: dict[str, list[str]] = {
    "unknown command": ["measure"],
    "command misspelt": ["raed", "PHOTO", "--scale", "quay-60"],
    "photo missing": ["read", "--scale", "quay-60"],
    "scale missing": ["read", "PHOTO"],
    "scale unknown": ["read", "PHOTO", "--scale", "no-such-scale"],
    "scale a folder": ["read", "PHOTO", "--scale", "FOLDER"],
    "scale a photo": ["read", "PHOTO", "--scale", "PHOTO"],
    "scale flat": ["read", "PHOTO", "--scale", "FLAT"],
    "photo not there": ["read", "no/such/photo.jpg", "--scale", "quay-60"],
    "photo a folder": ["read", "FOLDER", "--scale", "quay-60"],
    "photo a scale file": ["read", "FLAT", "--scale", "quay-60"],
    "photo name with a zero": ["read", "a\u0000b.jpg", "--scale", "quay-60"],
    "photo name endless": ["read", "a" * 5000, "--scale", "quay-60"],
    "photo a device": ["read", "/dev/zero", "--scale", "quay-60"],
    "second photo missing": ["read", "PHOTO", "nowhere.jpg", "--scale", "quay-60"],
    "nine photos": ["read", *["PHOTO"] * 9, "--scale", "quay-60"],
    "unknown option": ["read", "PHOTO", "--scale", "quay-60", "--guess"],
    "option cut short": ["read", "PHOTO", "--sca", "quay-60"],
    "near a word": ["read", "PHOTO", "--scale", "quay-60", "--near", "left"],
    "near one number": ["read", "PHOTO", "--scale", "quay-60", "--near", "12"],
    "near three numbers": ["read", "PHOTO", "--scale", "quay-60", "--near", "1,2,3"],
    "near not a number": ["read", "PHOTO", "--scale", "quay-60", "--near", "nan,4"],
    "near outside": ["read", "PHOTO", "--scale", "quay-60", "--near", "5000,4"],
    "near negative": ["read", "PHOTO", "--scale", "quay-60", "--near", "-3,4"],
    "number without place": ["read", "PHOTO", "--scale", "quay-60", "--number", "20"],
    "number a word": ["read", "PHOTO", "--scale", "quay-60", "--number", "x@3,4"],
    "number endless": ["read", "PHOTO", "--scale", "quay-60", "--number", "inf@3,4"],
    "number on no mark": ["read", "PHOTO", "--scale", "quay-60", "--number", "20.5@3,4"],
    "number outside": ["read", "PHOTO", "--scale", "quay-60", "--number", "20@300,-4"],
    "overlay no picture": ["read", "PHOTO", "--scale", "quay-60", "--overlay", "out.txt"],
    "overlay nowhere": ["read", "PHOTO", "--scale", "quay-60", "--overlay", "no/such/out.png"],
    "overlay a folder": ["read", "PHOTO", "--scale", "quay-60", "--overlay", "FOLDER/sub.png"],
    "scales of nothing": ["scales", "no-such-file.json"],
    "level card of no size": ["level", "PHOTO", "--zero-card-mm", "0"],
    "level card a word": ["level", "PHOTO", "--landmark-card-mm", "large"],
    "level landmark outside": ["level", "PHOTO", "--landmark", "9000,3"],
    "level depth endless": ["level", "PHOTO", "--landmark", "9,9", "--depth-difference-mm", "inf"],
    "level focal length zero": ["level", "PHOTO", "--focal-35mm", "0"],
    "level photo not there": ["level", "none.jpg"],
    "level overlay no picture": ["level", "PHOTO", "--overlay", "out.doc"],
    "setting without pointer": ["setting", "PHOTO", "--scale", "FLAT"],
    "setting pointer outside": ["setting", "PHOTO", "--scale", "FLAT", "--pointer", "9000,3"],
    "setting on a chamber": ["setting", "PHOTO", "--scale", "quay-60", "--pointer", "30,30"],
    "setting number on no mark": ["setting", "PHOTO", "--scale", "FLAT", "--pointer", "30,30",
                                  "--number", "99@30,30"],
    "cards no file": ["cards"],
    "cards no pdf": ["cards", "--out", "cards.docx"],
    "cards nowhere": ["cards", "--out", "no/such/cards.pdf"],
    "threshold a word": ["threshold", "--setting", "ten", "--unit", "mm[Hg]", "--offset-cm", "1"],
    "threshold no unit": ["threshold", "--setting", "10", "--offset-cm", "1"],
    "threshold in cm": ["threshold", "--setting", "10", "--unit", "cm", "--offset-cm", "1"],
    "threshold not a number": ["threshold", "--setting", "nan", "--unit", "mm[Hg]",
                               "--offset-cm", "1"],
    "threshold a kilometre": ["threshold", "--setting", "10", "--unit", "mm[Hg]",
                              "--offset-cm", "100000"],
    "scenes none": ["scenes", "--out", "OUT", "--count", "0", "--seed", "1"],
    "scenes fewer than none": ["scenes", "--out", "OUT", "--count", "-3", "--seed", "1"],
    "scenes half": ["scenes", "--out", "OUT", "--count", "1.5", "--seed", "1"],
    "scenes seed a word": ["scenes", "--out", "OUT", "--count", "1", "--seed", "x"],
    "scenes into a file": ["scenes", "--out", "PHOTO", "--count", "1", "--seed", "1"],
    "scenes of an unknown scale": ["scenes", "--out", "OUT", "--count", "1", "--seed", "1",
                                   "--scale", "no-such-scale"],
    "scenes of a flat scale": ["scenes", "--out", "OUT", "--count", "1", "--seed", "1",
                               "--scale", "FLAT"],
    "scenes of an unknown tier": ["scenes", "--out", "OUT", "--count", "1", "--seed", "1",
                                  "--tier", "lovely"],
    "scenes of no size": ["scenes", "--out", "OUT", "--count", "1", "--seed", "1",
                          "--size", "0x0"],
    "scenes without end": ["scenes", "--out", "OUT", "--count", "1", "--seed", "1",
                           "--size", "99999x99999"],
    "benchmark of nothing": ["benchmark", "none.jsonl", "--out", "OUT"],
    "benchmark of a photo": ["benchmark", "PHOTO", "--out", "OUT"],
    "benchmark of a scale": ["benchmark", "FLAT", "--out", "OUT"],
    "benchmark with no workers": ["benchmark", "none.jsonl", "--out", "OUT", "--workers", "0"],
    "lens of no photo": ["lens", "none.jpg", "--out", "OUT"],
    "lens of any photo": ["lens", "PHOTO", "--out", "OUT"],
    "record not there": ["verify", "--data", "OUT"],
    "record a photo": ["verify", "--data", "PHOTO"],
    "record at no address": ["verify", "--data", "postgresql://"],
    "output of no record": ["output", "--bed", "QUAY-3", "--data", "OUT"],
    "output of no bed": ["output", "--data", "OUT"],
    "export of no record": ["export", "--format", "csv", "--out", "OUT.csv", "--data", "OUT"],
    "export in no format": ["export", "--format", "xml", "--out", "OUT.xml", "--data", "OUT"],
    "serve to all": ["serve", "--host", "0.0.0.0"],
    "serve to a name": ["serve", "--host", "ward.example"],
    "serve to nowhere": ["serve", "--host", "not an address", "--allow-remote"],
    "port a word": ["serve", "--port", "http"],
    "port zero": ["serve", "--port", "0"],
    "port too high": ["serve", "--port", "70000"],
    "data a file": ["serve", "--data", "PHOTO"],
    "data below a file": ["serve", "--data", "PHOTO/data"],
    "data nothing": ["serve", "--data", ""],
}


@pytest.fixture
def places(tmp_path: Path) -> dict[str, str]:
    """Stand-ins for the capitals in BAD_COMMANDS: a good photo, a flat scale, a folder, and a
    place where nothing is."""
    (tmp_path / "photo.jpg").write_bytes(jpeg())
    (tmp_path / "flat.json").write_text(json.dumps(FLAT), encoding="utf-8")
    (tmp_path / "folder" / "sub.png").mkdir(parents=True)
    return {"PHOTO": str(tmp_path / "photo.jpg"), "FLAT": str(tmp_path / "flat.json"),
            "FOLDER": str(tmp_path / "folder"), "OUT": str(tmp_path / "out")}


@pytest.mark.parametrize("wrong", BAD_COMMANDS)
def test_a_bad_command_gives_one_sentence(
        wrong: str, places: dict[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    words = []
    for word in BAD_COMMANDS[wrong]:
        for capital, place in places.items():
            word = word.replace(capital, place)
        words.append(word)
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == "" and is_one_sentence(err.replace(places["PHOTO"], "photo.jpg")), err
    assert not list(Path(places["OUT"]).parent.glob("out*")), "nothing may be written"


def test_a_photo_that_may_not_be_opened(tmp_path: Path,
                                        monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "photo.jpg"
    path.write_bytes(jpeg())

    def forbidden(self: Path, *args: object, **options: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", forbidden)
    with pytest.raises(PhotoError) as caught:
        load_photo(path)
    assert is_one_sentence(str(caught.value))


def test_an_error_inside_is_told_without_a_traceback(
        places: dict[str, str], monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str]) -> None:
    """Not bad input but our own fault: another exit code, still one sentence."""

    def broken(*args: object, **options: object) -> None:
        raise ZeroDivisionError("float division by zero")

    monkeypatch.delenv("COUNTERSIGHT_DEBUG", raising=False)
    monkeypatch.setattr("vision.volume.read.read_volume", broken)
    assert main(["read", places["PHOTO"], "--scale", "quay-60"]) == 1
    out, err = capsys.readouterr()
    assert out == "" and "\n" not in err.strip() and "Traceback" not in err


def test_there_are_enough_kinds() -> None:
    assert len(BAD_PHOTOS) >= 40
    assert issubclass(PhotoError, CountersightError)
