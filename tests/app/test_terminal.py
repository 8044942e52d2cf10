"""Nothing that a command prints is obeyed by a terminal."""

from __future__ import annotations

import io
import json
import sys
import unicodedata

import pytest

from app.cli import main
from app.terminal import Plain, plain, plain_streams


def test_every_control_character_is_written_out_and_no_letter_is() -> None:
    """Categories of the Unicode character database that ships with Python."""
    for code in range(0x3000):
        character = chr(code)
        obeyed = unicodedata.category(character) in ("Cc", "Zl", "Zp") and character != "\n"
        turns = unicodedata.bidirectional(character) in (
            "LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")
        if obeyed or turns:
            assert plain(character) == f"\\u{code:04x}"
        elif unicodedata.category(character)[0] in "LMNPS":
            assert plain(character) == character
    assert plain("\ud800\udcff") == "\\ud800\\udcff"


@pytest.mark.parametrize("text", ["\x1b[2J", "\x7f\x85\u2028", "\u202ezero", "a\nb\tc"])
def test_json_means_the_same_afterwards(text: str) -> None:
    assert json.loads(plain(json.dumps({"bed": text}, ensure_ascii=False))) == {"bed": text}


def test_a_progress_line_begins_anew_and_nothing_else_does() -> None:
    stream = Plain(io.StringIO())
    stream.write("\r3 of 9")
    stream.writelines(["a\rb", "\r\rc"])
    assert stream.getvalue() == "\r3 of 9a\\u000db\r\\u000dc"
    assert not stream.isatty()


def test_whoever_prints_goes_through_it_and_the_streams_come_back(
        capsys: pytest.CaptureFixture[str]) -> None:
    before = sys.stdout, sys.stderr
    with plain_streams():
        print("a\x1b[2Jb")
        sys.stderr.write("c\x07d\n")
    assert (sys.stdout, sys.stderr) == before
    assert capsys.readouterr() == ("a\\u001b[2Jb\n", "c\\u0007d\n")


def test_a_file_named_to_clear_the_screen(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", "\x1b[2J\x1b]0;gone\x07.jpg", "--scale", "quay-60"]) == 2
    assert "\x1b" not in (said := capsys.readouterr().err) and "\\u001b[2J" in said
