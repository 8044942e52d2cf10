"""The page "Handles": nothing assumed, the diagram follows the model, reminders approve nothing."""

from __future__ import annotations

import html
import re
import xml.etree.ElementTree as ET

import networkx as nx
import pytest
from streamlit.testing.v1 import AppTest

from app.ui.flow.schematic import schematic
from vision.flow.graph import FlowState, all_states, open_segments

SCRIPT = "from app.pages.handles import page\npage()\n"


@pytest.fixture
def page(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path))
    return AppTest.from_string(SCRIPT, default_timeout=30).run()


def text(at: AppTest) -> str:
    return html.unescape("\n".join(str(node.proto) for node in at.main if hasattr(node, "proto"))
                         + "\n".join(h.proto.body for h in at.get("html")))


def set_handles(at, patient, main, outlet="closed", vent="free and dry"):
    at.radio(key="flow-patient").set_value(patient)
    at.radio(key="flow-main").set_value(main)
    at.button_group(key="flow-outlet").set_value(outlet)
    at.button_group(key="flow-vent").set_value(vent)
    return at.run()


@pytest.mark.parametrize("state", list(all_states()), ids=str)
def test_thick_lines_are_what_the_patient_reaches(state):
    root = ET.fromstring(schematic(state).svg)
    widths = [float(p.get("stroke-width")) for p in root.iter("{http://www.w3.org/2000/svg}path")
              if p.get("d", "").count("L") == 1 and "z" not in p.get("d", "")]
    graph = nx.Graph([pair for pair in open_segments(state) if "air" not in pair])
    graph.add_node("patient")
    reached = nx.node_connected_component(graph, "patient")
    thick = sum(1 for a, b in graph.edges if a in reached and b in reached)
    assert len(widths) == 7, "each piece of tubing is drawn once"
    assert widths.count(7.0) == thick
    assert widths.count(1.4) == 7 - len(open_segments(state))


def test_no_handle_has_a_position_before_somebody_looked(page):
    assert not page.exception
    assert "say how each handle stands" in text(page)
    assert page.radio(key="flow-patient").value is None


def test_draining_and_measuring_at_once_is_called_unsafe(page):
    shown = text(set_handles(page, "closed toward sampling port", "open to all"))
    assert not page.exception
    assert "Unsafe here: measure pressure" in shown and "falsifies the pressure" in shown


def test_ordinary_draining_is_possible_and_said_in_words(page):
    shown = text(set_handles(page, "closed toward sampling port", "closed toward pressure port"))
    assert "The patient's line is open to: chamber." in shown
    row = re.search(r"<td>drain</td><td>(.*?)</td>", shown)
    assert row and row.group(1) == "possible"


def test_checklist_has_its_sources_and_a_clock(page):
    page.radio(key="handles-list").set_value("sampling").run()
    assert not page.exception
    assert "common practice, no source" in "\n".join(h.proto.body for h in page.get("html"))
    assert any("30 to 60 s" in b.label for b in page.button)
    assert "approves nothing" in "\n".join(h.proto.body for h in page.get("html"))


def test_a_broken_ward_file_is_named_and_the_shipped_lists_stand_in(tmp_path, monkeypatch):
    monkeypatch.setenv("COUNTERSIGHT_DATA", str(tmp_path))
    (tmp_path / "checklists.toml").write_text("format = 9", encoding="utf-8")
    at = AppTest.from_string(SCRIPT, default_timeout=30).run()
    assert "cannot be used" in text(at) and "format = 1" in text(at)
    assert len(at.radio(key="handles-list").options) == 6


def test_diagram_says_its_content_in_words():
    title = schematic(FlowState("patient", "open to all")).title
    assert "closed toward the patient" in title and "The patient's line is closed." in title
