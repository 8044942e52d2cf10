"""Says on every page of a session that it tries the demo bed, and throws it away."""

from __future__ import annotations

import streamlit as st

from app.demo_bed import DEMO_BED
from app.records.codes import normal_bed
from app.ui import blocks, ledger


def show() -> None:
    """Draw the bar.  An address that names the demo bed begins one: it has no other record."""
    if not ledger.in_demo() and normal_bed(st.query_params.get("bed", "")) == DEMO_BED:
        ledger.begin_demo()
    if not ledger.in_demo():
        return
    with st.container(key="demo-bar", horizontal=True, vertical_alignment="center"):
        blocks.notice(f"Demo bed {DEMO_BED}: made up, nothing here goes on the ward's record.")
        st.button("Throw the demo bed away", key="demo-end", on_click=ledger.end_demo)
