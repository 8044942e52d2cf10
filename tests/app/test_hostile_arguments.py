"""Every command takes every odd argument with a sentence: no hang, no failure inside.

The options are asked of the parsers themselves, so a new option is walked as well.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from photo_files import encode, picture

from app.cli import COMMANDS, build_parser, main
from vision.fiducials import cards
from vision.imaging.photo import Photo
from vision.pressure_panel import explain as panel_explain
from vision.reading import VolumeReading
from vision.scale_file.scale import Scale
from vision.volume import explain as volume_explain
from vision.volume import overlay
from vision.volume.inputs import check_inputs

pytestmark = pytest.mark.slow

#: Words that make each command work, capitals standing for places of the test.
BASE: dict[str, list[str]] = {
    "serve": ["--no-browser", "--data", "WARD"],
    "read": ["PHOTO", "--scale", "quay-60"],
    "level": ["PHOTO", "--landmark", "9,9", "--depth-difference-mm", "100"],
    "setting": ["PHOTO", "--scale", "FLAT", "--pointer", "30,30"],
    "point": ["PHOTO", "--scale", "quay-60", "--at", "40,50", "--number", "10@30,90",
              "--number", "20@30,40"],
    "threshold": ["--setting", "10", "--unit", "mm[Hg]", "--offset-cm", "-3"],
    "scenes": ["--out", "OUT", "--count", "1", "--seed", "1", "--scale", "quay-60",
               "--size", "64x80"],
    "cards": ["--out", "OUT.pdf"],
    "scales": ["FLAT"],
    "verify": ["--data", "RECORD"],
    "output": ["--data", "RECORD", "--bed", "QUAY-3"],
    "export": ["--data", "RECORD", "--format", "csv", "--out", "OUT.csv"],
    "lens": ["PHOTO", "--out", "OUT.json"],
    "benchmark": ["LABELS", "--out", "OUT", "--quiet"],
}

#: Words that nobody types on purpose, or that somebody types on purpose.
ODD_WORDS: dict[str, str] = {
    "empty": "", "blank": " ", "minus one": "-1", "zero": "0", "half": "0.5",
    "400 digits": "9" * 400, "5000 digits": "9" * 5000, "1e308": "1e308", "-1e308": "-1e308",
    "1e400": "1e400", "not a number": "nan", "infinity": "-inf", "full-width": "\uff11\uff12",
    "huge point": "1e308,1e308", "point of no numbers": "nan,inf",
    "huge number at": "1e308@1e308,1e308", "digits at": f"{'9' * 400}@1,{'9' * 400}",
    "a byte that is no text": "\udcff\udcfe.png", "a lone surrogate": "\ud800",
    "escape": "\x1b]0;title\x07\x1b[2J.png", "carriage return": "a\rb\nc", "nul": "a\x00b",
    "right to left": "\u202egnp.exe", "300 characters": "x" * 300,
    "300 characters .png": "x" * 300 + ".png", "300 characters .pdf": "x" * 300 + ".pdf",
    "300 characters .json": "x" * 300 + ".json", "5000 characters": "x/" * 2500,
    "formula": "=1+1", "directive": "%s%n%d{}", "nobody's home": "~nosuchuser/x",
    "year 1": "0001-01-01T00:00+14:00", "year 9999": "9999-12-31T23:59-14:00",
    "address of no port": "postgresql://host:abc/x", "address of nothing": "://",
    "null device": "/dev/null", "endless device": "/dev/zero",
}

#: Files that hold what no command wants.
ODD_FILES: dict[str, bytes] = {
    "binary": bytes(range(256)) * 40,
    "nested deep": b"[" * 200_000,
    "nested deep object": b'{"file": ' + b'{"a":' * 100_000 + b"1" + b"}" * 100_001,
    "nested deep toml": b"[auth]\nx = " + b"[" * 50_000 + b"]" * 50_000,
    "huge numbers": b'{"file": "a.jpg", "scale": "quay-60", "true_value": 1e308, "width": 1e400}',
    "digits": b'{"file": "a.jpg", "scale": "quay-60", "true_value": ' + b"9" * 400 + b"}",
    "more digits": b'{"file": "a.jpg", "scale": "quay-60", "true_value": ' + b"9" * 9000 + b"}",
    "surrogates": b'{"file": "\\ud800.jpg", "scale": "\\udcff", "true_value": 1}',
    "escapes": b'{"file": "\\u001b]0;t\\u0007.jpg", "scale": "\\u001b[2J", "true_value": 1}',
    "nul in a name": b'{"file": "a\\u0000.jpg", "scale": "quay-60\\u0000", "true_value": 1}',
    "long line": b'{"file": "' + b"x" * 3_000_000,
    "list": b"[1, 2]", "nothing": b"", "null": b"null",
}

FLAT = {"name": "panel", "unit": "cm[H2O]", "capacity": 20, "height_mm": [[-5, 0], [20, 250]],
        "marks": [{"from": -5, "to": 20, "step": 1, "length": "short"}]}
#: Seconds after which a command counts as hanging.
PATIENCE_S = 20


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Good files by the capitals of BASE, and odd ones by their names."""
    from app.records import BedCode, EventDraft, Initials, Store, confirm

    folder = tmp_path_factory.mktemp("hostile")
    (folder / "photo.jpg").write_bytes(encode(picture()))
    (folder / "flat.json").write_text(json.dumps(FLAT), encoding="utf-8")
    (folder / "labels.jsonl").write_text(json.dumps(
        {"file": "photo.jpg", "scale": "quay-60", "true_value": 5, "expect": "read"}) + "\n")
    (folder / "folder").mkdir()
    Store.open(folder / "record").add(confirm(
        EventDraft("chamber-emptied", before_ml="58", after_ml="0"), by=Initials("M.K."),
        bed=BedCode("QUAY-3")))
    for name, content in ODD_FILES.items():
        (folder / name).write_bytes(content)
    os.mkfifo(folder / "pipe")
    names = {"PHOTO": "photo.jpg", "FLAT": "flat.json", "LABELS": "labels.jsonl",
             "RECORD": "record", "WARD": "ward", "folder": "folder", "pipe": "pipe",
             **{name: name for name in ODD_FILES}}
    return {name: str(folder / file) for name, file in names.items()}


def options(command: str) -> list[argparse.Action]:
    """Every option and place of a command that takes a word."""
    parser = build_parser(command)
    (group,) = (a for a in parser._actions if isinstance(a, argparse._SubParsersAction))
    return [a for a in group.choices[command]._actions
            if a.nargs != 0 and not isinstance(a, argparse._HelpAction)]


WALK = [(command, action.option_strings[-1] if action.option_strings else "")
        for command in COMMANDS for action in options(command)]


@contextmanager
def patience(what: str) -> Iterator[None]:
    """A command that hangs fails instead of stopping the tests."""
    def late(*_: object) -> None:
        pytest.fail(f"hangs: {what}")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(PATIENCE_S)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def words_for(command: str, option: str, odd: str, places: dict[str, str], out: str) -> list[str]:
    """The good words of a command with one of them exchanged."""
    good = [places.get(w, w.replace("OUT", out)) for w in BASE[command]]
    if not option:
        return [command, *([odd, *good[1:]] if odd.startswith("-") is False else
                           [*good[1:], "--", odd])]
    while option in good:
        k = good.index(option)
        del good[k:k + 2]
    return [command, *good, f"{option}={odd}"]


def unfit_for_a_terminal(text: str) -> list[str]:
    """Characters that a terminal would obey instead of showing."""
    return sorted({c for c in text if c != "\n" and (
        unicodedata.category(c) in ("Cc", "Cs") or c in "\u202a\u202b\u202d\u202e\u2066\u2067")})


_CARDS: dict[tuple[object, ...], Any] = {}


def looked_for_once(detector: Any, picture: np.ndarray, scale: float, detect: Any = cards._detect
                    ) -> Any:
    """What the search for cards finds; the same picture, which it mostly is, is searched once."""
    key = (id(detector), scale, picture.shape, picture.tobytes())
    if key not in _CARDS:
        _CARDS[key] = detect(detector, picture, scale)
    return _CARDS[key]


def corners(draw: Callable[..., Any]) -> Callable[..., Any]:
    """The upper left corners of what is drawn: packing all of it takes most of the time."""
    def drawn(*told: Any) -> Any:
        pictures = draw(*told)
        if isinstance(pictures, dict):
            return {name: p[:48, :48] for name, p in pictures.items()}
        return pictures[:48, :48]

    return drawn


@pytest.fixture
def quiet_house(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """No page server starts, nothing outside the test's folder is written."""
    monkeypatch.setattr("app.commands.serve._launch", lambda words: 0)
    monkeypatch.setattr("app.commands.serve.check_free", lambda host, port: None)
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path / "ward"))
    # serve hands both to the page server in the environment: they go back after the test.
    monkeypatch.setenv("COUNTERSIGHT_KEY", str(tmp_path / "station.key"))
    monkeypatch.delenv("COUNTERSIGHT_DEBUG", raising=False)

    def read(photo: Photo, scale: Scale, surface: Any = None,
             number: Any = None) -> VolumeReading:
        check_inputs(photo, scale, surface, number=number)
        return VolumeReading("refused", scale.unit, 1.0, scale.name)

    # What the pixels say is not asked here, and asking takes long.
    monkeypatch.setattr("vision.volume.read.read_volume", read)
    monkeypatch.setattr(cards, "_detect", looked_for_once)
    for module, name in ((volume_explain, "explain"), (panel_explain, "explain_setting"),
                         (overlay, "draw_overlay")):
        monkeypatch.setattr(module, name, corners(getattr(module, name)))
    monkeypatch.setattr("vision.synthetic.chamber.dataset.render_scene",
                        lambda scene: np.zeros((80, 64, 3), np.uint8))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(("command", "option"), WALK, ids=[" ".join(w).strip() for w in WALK])
def test_an_odd_argument_gives_a_sentence(
        command: str, option: str, places: dict[str, str], quiet_house: Path,
        capsys: pytest.CaptureFixture[str]) -> None:
    odd = {**ODD_WORDS, **{k: places[k] for k in (*ODD_FILES, "folder", "pipe")}}
    faults = []
    for n, (name, word) in enumerate(odd.items()):
        words = words_for(command, option, word, places, str(quiet_house / f"out-{n}"))
        with patience(f"{command} {option} {name}"):
            code = main(words)
        out, err = capsys.readouterr()
        if code not in (0, 2, 3) or code == 2 and err.count("\n") != 1:
            faults.append(f"{name}: exit code {code}, {err[:300]!r}")
        if unfit_for_a_terminal(out + err):
            faults.append(f"{name}: prints {unfit_for_a_terminal(out + err)}")
        if code == 2 and len(err) > 400:
            faults.append(f"{name}: a sentence of {len(err)} characters")
    assert not faults, "\n".join(faults)


def test_every_command_is_walked_with_words_that_work(
        places: dict[str, str], quiet_house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The walk means something only where nothing but the odd word is wrong."""
    assert set(BASE) == set(COMMANDS) and len(WALK) > 60
    for command in set(COMMANDS) - {"lens"}:  # no board in this photo
        words = words_for(command, "--nothing", "", places, str(quiet_house / command))[:-1]
        assert main(words) in (0, 3), capsys.readouterr().err
