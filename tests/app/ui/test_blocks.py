"""Blocks of words that every page is made of."""

from __future__ import annotations

import re

from streamlit.testing.v1 import AppTest


def _table() -> None:
    from app.ui import blocks

    blocks.table(("Part", "cm", "Why <b>"), [("a & b", "1.25", "<i>")], numbers=(1,))


def test_a_column_of_numbers_has_its_heading_over_the_numbers():
    (shown,) = AppTest.from_function(_table).run().get("html")
    cells = re.findall(r"<(t[hd])\b([^>]*)>(.*?)</t[hd]>", shown.proto.body)
    right = [(tag, text) for tag, rest, text in cells if "cs-number" in rest]
    assert right == [("th", "cm"), ("td", "1.25")]
    assert [text for _, _, text in cells] == [
        "Part", "cm", "Why &lt;b&gt;", "a &amp; b", "1.25", "&lt;i&gt;"]
    assert all('scope="col"' in rest for tag, rest, _ in cells if tag == "th")
