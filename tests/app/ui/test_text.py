"""Text of people and files reaches no Markdown or HTML renderer but through app.ui.text."""

from __future__ import annotations

import ast
import html
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from app.ui import text

ROOT = Path(__file__).resolve().parents[3]
PAGES = sorted(p for folder in ("ui", "pages", "entry")
               for p in (ROOT / "app" / folder).rglob("*.py"))

#: What the page server renders as Markdown whatever is done about it: not used at all.
NEVER = {"write", "markdown", "caption", "info", "warning", "error", "success", "toast",
         "subheader", "latex", "metric", "badge", "write_stream", "exception"}
#: The same where it is asked of the page server itself; other things have such methods, too.
NEVER_OF_ST = NEVER | {"title", "header", "text", "code", "json", "table", "dataframe"}
#: Widgets whose label is rendered as Markdown; it is the first argument.
LABELLED = {"button", "radio", "selectbox", "checkbox", "segmented_control", "pills", "toggle",
            "text_input", "text_area", "number_input", "slider", "select_slider", "expander",
            "popover", "status", "spinner", "download_button", "link_button", "file_uploader",
            "camera_input", "multiselect", "date_input", "time_input", "form_submit_button"}
#: Choices are rendered as Markdown, but for those of a selectbox.
CHOICES = {"radio": "as_label", "segmented_control": "as_label", "pills": "as_label",
           "selectbox": "visible"}
#: The only files that may hand HTML to the page server.
HTML = {"app/ui/blocks.py", "app/ui/drawing.py", "app/ui/theme.py", "app/ui/lesson/wide.py"}
#: Objects with a method of such a name that are no page.
NO_PAGE = {"blocks", "out", "record", "box", "_log"}


def calls() -> Iterator[tuple[str, str, str, ast.Call]]:
    for path in PAGES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) \
                    and isinstance(node.func.value, ast.Name) \
                    and node.func.value.id not in NO_PAGE:
                yield (path.relative_to(ROOT).as_posix(), node.func.value.id, node.func.attr,
                       node)


def ours(node: ast.expr | None) -> bool:
    """The words stand in the program itself, or have gone through ``as_label``."""
    if node is None:
        return True
    if isinstance(node, ast.Constant):
        return True
    if isinstance(node, ast.BinOp):
        return ours(node.left) and ours(node.right)
    if isinstance(node, ast.IfExp):
        return ours(node.body) and ours(node.orelse)
    if isinstance(node, ast.Tuple | ast.List):
        return all(ours(e.value if isinstance(e, ast.Starred) else e) for e in node.elts)
    if isinstance(node, ast.Name):
        return node.id.strip("_").isupper()  # a constant of the program
    return is_call_of(node, "as_label") or (
        isinstance(node, ast.Call) and is_call_of(node, "tuple") and ours(node.args[0]))


def is_call_of(node: ast.AST, name: str) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == name


def shows(node: ast.expr | None, name: str) -> bool:
    """A ``format_func`` that goes through the function of that name."""
    if isinstance(node, ast.Lambda):
        return is_call_of(node.body, name)
    return isinstance(node, ast.Name) and node.id == name


def keyword(call: ast.Call, name: str) -> ast.expr | None:
    return next((k.value for k in call.keywords if k.arg == name), None)


def faults() -> Iterator[str]:
    for path, of, attr, call in calls():
        at = f"{path}:{call.lineno}: {attr}"
        if attr in (NEVER_OF_ST if of == "st" else NEVER):
            yield f"{at} renders Markdown; say it with app.ui.blocks"
        if attr == "html" and path not in HTML:
            yield f"{at}: HTML is made in app.ui.blocks only"
        if attr in LABELLED:
            label = call.args[0] if call.args else keyword(call, "label")
            if not ours(label):
                yield f"{at}: the label has not gone through as_label"
            if not ours(keyword(call, "help")):
                yield f"{at}: the help has not gone through as_label"
        if attr == "image" and not ours(keyword(call, "caption")):
            yield f"{at}: the caption has not gone through as_label"
        if attr == "page_link" and not ours(keyword(call, "label")):
            yield f"{at}: the label has not gone through as_label"
        if attr in CHOICES:
            options = call.args[1] if len(call.args) > 1 else keyword(call, "options")
            if not ours(options) and not shows(keyword(call, "format_func"), CHOICES[attr]):
                yield f"{at}: choices need format_func={CHOICES[attr]}"


def test_no_page_hands_words_to_a_markdown_renderer():
    assert list(faults()) == []


def test_the_check_finds_what_it_is_for(monkeypatch, tmp_path):
    """The very lines that showed an order as another one."""
    bad = tmp_path / "app" / "ui" / "bad.py"
    bad.parent.mkdir(parents=True)
    bad.write_text('st.write("Order: " + order)\nst.button(f"Bed {bed}")\n'
                   'st.radio("Which", names)\nst.html(f"<p>{note}</p>")\n'
                   'left.caption(source)\nst.expander(name)\nst.selectbox("Which", names)\n')
    monkeypatch.setitem(globals(), "PAGES", [bad])
    monkeypatch.setitem(globals(), "ROOT", tmp_path)
    assert {int(f.split(":")[1]) for f in faults()} == set(range(1, 8))


@pytest.mark.parametrize(("typed", "label"), [
    ("5~10 mL every 2~4 h", "` 5~10 mL every 2~4 h `"),
    ("a `b` c", "`` a `b` c ``"),
    (":material/home:", "` : `&#109;` aterial/home: `"),
    ("", ""), ("Confirm: drain opened (seen at 14.05)", "Confirm: drain opened (seen at 14.05)"),
    ("Eye above (+) or below (\N{MINUS SIGN})", "Eye above (+) or below (\N{MINUS SIGN})"),
    ("1 + 2", "` 1 + 2 `"), ("Bed www.x.org", "` Bed www.x.org `"), ("Bed A--1", "` Bed A--1 `"),
    ("Bed A - 1", "` Bed A - 1 `"),
    # a code span's marks would be read out by a screen reader
    ("When, if not now (for example 14:05)", "When, if not now (for example 14:05)"),
    ("Ask about a rise faster than, mL/h", "Ask about a rise faster than, mL/h"),
    ("Bed a:smile:", "` Bed a:smile: `"), ("Bed 1:23:45", "` Bed 1:23:45 `"),
    ("see http://x.org", "` see http://x.org `"), ("a//b", "` a//b `"), ("Bed 5/6", "` Bed 5/6 `"),
])
def test_a_label_is_a_code_span_unless_it_is_words_alone(typed, label):
    assert text.as_label(typed) == label


def test_what_hides_or_turns_is_made_visible():
    """U+202E turns the digits after it round; half a surrogate pair cannot be sent at all."""
    assert text.visible("10\u202e5\u200b\x07\ud800") == "10<U+202E>5<U+200B><U+0007><U+D800>"
    assert text.visible("a\tb\nc\u00a0d \u00e9 \u4e2d") == "a b c\u00a0d \u00e9 \u4e2d"


@pytest.mark.slow
@settings(deadline=None)
@given(st.text())
def test_html_gives_back_what_was_typed(typed):
    """Against the standard library's own reading of HTML's character references."""
    shown = text.as_html(typed)
    assert "<" not in shown and '"' not in shown and "'" not in shown
    assert html.unescape(shown) == text.visible(typed)
    shown.encode("utf-8")


@settings(deadline=None)
@given(st.text(min_size=1) | st.text(alphabet="`*_~[]()!<>&;:|\\#- a1", min_size=1))
def test_a_label_gives_back_what_was_typed(typed):
    """Against a reference implementation of CommonMark, with tables and links found in text."""
    assume(typed.strip())
    (token,) = MarkdownIt("gfm-like", {"linkify": False}).parseInline(text.as_label(typed))
    assert {t.type for t in token.children or ()} <= {"code_inline", "text", "text_special"}
    assert "".join(t.content for t in token.children or ()) == text.visible(typed)
