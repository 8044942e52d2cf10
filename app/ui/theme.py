"""The look of every page: the style sheet, the number keys of a telephone, the Enter key."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import streamlit as st

from app.ui.text import as_html

_STYLE = Path(__file__).parents[1] / "style.css"

# Streamlit's text field cannot ask for the number keys, and its number field
# refuses a decimal comma in many browsers.
NUMBER_KEYS = """<script>
(() => {
  const ask = () => document.querySelectorAll('[class*="st-key-num-"] input:not([inputmode])')
    .forEach((field) => field.setAttribute('inputmode', 'decimal'));
  if (!window.countersightNumberKeys) {
    window.countersightNumberKeys = new MutationObserver(ask);
    window.countersightNumberKeys.observe(document.body, {childList: true, subtree: true});
  }
  ask();
})();
</script>"""

# The field of a file that was brought goes from the page, and with it the place of whoever
# works with the keyboard: they go on from the line that says what is next.
KEEP_PLACE = """<script>
(() => {
  if (window.countersightPlace) return;
  window.countersightPlace = true;
  let brought = null;
  document.addEventListener('change', (event) => {
    if (event.target.type === 'file') brought = event.target;
  }, true);
  new MutationObserver(() => {
    const app = document.querySelector('[data-testid="stApp"]');
    if (!brought || brought.isConnected || app?.dataset.testScriptState !== 'notRunning') return;
    const lost = !document.activeElement || document.activeElement === document.body;
    const next = document.querySelector('.stMain .cs-status, .stMain .cs-step');
    if (!lost || !next || document.querySelector('[data-stale="true"]')) return;
    brought = null;
    next.tabIndex = -1;
    next.focus({preventScroll: true});
  }).observe(document.body, {subtree: true, childList: true,
                             attributeFilter: ['data-test-script-state', 'data-stale']});
})();
</script>"""

# Enter in a field of a group whose key begins with "enter-" presses the group's main button:
# what was typed is with the page by then, since the field hears of the key first.
ENTER = """<script>
(() => {
  if (window.countersightEnter) return;
  window.countersightEnter = true;
  document.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter' || event.isComposing 
        || !event.target.matches?.('input:is([type=text], [type=number]):not([role=combobox])'))
      return;
    const buttons = event.target.closest('[class*="st-key-enter-"]')
      ?.querySelectorAll('[data-testid="stBaseButton-primary"]');
    if (buttons?.length) buttons[buttons.length - 1].click();
  });
})();
</script>"""

TO_THE_TOP = """<script>
document.querySelector('[data-testid="stMain"]')?.scrollTo({top: 0});
</script>"""


def start_at_top(stage: str) -> None:
    """Show the page from its top when ``stage`` is another one than before.

    A page that changes under the thumb would else be left scrolled to where the
    last button was, past the very thing that was asked for.
    """
    run_script(TO_THE_TOP, stage=stage)


def run_script(script: str, **told: object) -> None:
    """Run a script of ours; it finds what it is ``told`` as data of its own element, and
    runs again when that is something else."""
    data = "".join(f' data-{name}="{as_html(value)}"' for name, value in told.items())
    st.html(script.replace("<script", f"<script{data}"), unsafe_allow_javascript=True)


def apply() -> None:
    """Put style sheet, number keys, the keeping of one's place and the Enter key on the page."""
    st.html(_STYLE)
    for script in (NUMBER_KEYS, KEEP_PLACE, ENTER):
        st.html(script, unsafe_allow_javascript=True)


def enter_presses(key: str, gap: Literal["small", "xsmall"] = "small") -> Any:
    """A group of fields in which the Enter key presses the main button.

    What goes on record may be pressed so only from the last field before it.
    """
    return st.container(key=f"enter-{key}", gap=gap)
