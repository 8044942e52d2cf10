"""Checklists: strict reading with sentences, and a default set that names its sources."""

import tomllib
from importlib.resources import files

import pytest

from app import checklists as c

GOOD = """
format = 1
[[checklist]]
name = "before-reading"
title = "Our way of reading"
[[checklist.line]]
text = "Look twice."
source = "our ward's rule 7"
timer_s = 20
"""


def test_default_set_covers_the_work():
    lists = c.default_checklists()
    assert list(lists) == ["before-reading", "before-zeroing", "before-moving", "sampling",
                           "emptying", "changing-bag"]
    for one in lists.values():
        assert len(one.lines) >= 4
        for line in one.lines:
            assert line.source, "each line has a source or says that it has none"


def test_default_set_says_what_has_no_source():
    sources = {line.source for one in c.default_checklists().values() for line in one.lines}
    assert c.NO_SOURCE in sources and len(sources) > 3


def test_alcohol_dries_30_to_60_seconds():
    # 30 to 60 s: common practice, no source.
    timers = [line.timer for line in c.default_checklists()["sampling"].lines if line.timer]
    assert [(t.shortest_s, t.longest_s, t.words) for t in timers] == [(30, 60, "30 to 60 s")]


def test_zeroing_names_each_condition_and_the_way_back():
    text = " ".join(line.text for line in c.default_checklists()["before-zeroing"].lines)
    for words in ("level with the landmark", "filled with fluid", "Closed toward the patient",
                  "mark stands at the zero reference", "back to the ordered setting"):
        assert words in text


def test_lists_remind_and_never_approve():
    names = {n for n in dir(c.Checklist) + dir(c.Line) if not n.startswith("_")}
    assert not names & {"done", "approved", "complete", "passed", "ok"}


def test_ward_file_replaces_lists_of_the_same_name_and_adds_others(tmp_path):
    (tmp_path / c.WARD_FILE_NAME).write_text(
        GOOD + '\n[[checklist]]\nname = "night"\ntitle = "Night"\n'
        '[[checklist.line]]\ntext = "Dim the light."\nsource = "ours"\n', encoding="utf-8")
    lists = c.ward_checklists(tmp_path)
    assert lists["before-reading"].title == "Our way of reading"
    assert lists["before-reading"].lines[0].timer == c.Timer(20, 20)
    assert lists["night"].lines[0].text == "Dim the light."
    assert lists["sampling"] == c.default_checklists()["sampling"]
    assert c.ward_checklists(None) == c.ward_checklists(tmp_path / "none") == c.default_checklists()


@pytest.mark.parametrize("old, new, words", [
    ("format = 1", "format = 2", "format = 1"),
    ("format = 1", "", "format = 1"),
    ('"before-reading"', '"Before Reading"', "list 1, field 'name'"),
    ('title = "Our way of reading"', "", "field 'title'"),
    ('text = "Look twice."', 'text = "  "', "line 1, field 'text'"),
    ('source = "our ward\'s rule 7"', "", "line 1, field 'source'"),
    ("timer_s = 20", "timer_s = -3", "field 'timer_s'"),
    ("timer_s = 20", "timer_s = [60, 30]", "field 'timer_s'"),
    ("timer_s = 20", "timer_s = true", "field 'timer_s'"),
    ("timer_s = 20", "timer_s = 1.5", "field 'timer_s'"),
    ("timer_s = 20", "timer = 20", "field 'timer'"),
    ("[[checklist.line]]", "[[checklist.lines]]", "field 'lines'"),
    ("[[checklist]]", "[[checklist", "not valid TOML"),
])
def test_errors_name_the_place(tmp_path, old, new, words):
    path = tmp_path / "ours.toml"
    path.write_text(GOOD.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(c.ChecklistFileError, match="ours.toml") as caught:
        c.load_checklists(path)
    assert words in str(caught.value) and "\n" not in str(caught.value)


def test_two_lists_of_one_name_are_refused(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text(GOOD + GOOD.replace("format = 1", ""), encoding="utf-8")
    with pytest.raises(c.ChecklistFileError, match="two lists named 'before-reading'"):
        c.load_checklists(path)


def test_files_that_are_no_text_get_a_sentence(tmp_path):
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00\x81")
    (tmp_path / "big.toml").write_bytes(b"#" * 300_000)
    for name, words in (("bytes.toml", "UTF-8"), ("big.toml", "right file"),
                        ("missing.toml", "cannot be read")):
        with pytest.raises(c.ChecklistFileError, match=words):
            c.load_checklists(tmp_path / name)


def test_a_file_saved_with_a_byte_order_mark_is_read(tmp_path):
    path = tmp_path / "bom.toml"
    path.write_text(GOOD, encoding="utf-8-sig")
    assert list(c.load_checklists(path)) == ["before-reading"]


def test_default_file_is_plain_toml():
    raw = (files("app") / "checklists" / "default.toml").read_text(encoding="utf-8")
    assert tomllib.loads(raw)["format"] == 1
