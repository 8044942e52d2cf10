"""A page drawn from its top, whatever was drawn just before."""

from __future__ import annotations

from streamlit.delta_generator_singletons import context_dg_stack, get_default_dg_stack_value


def begin_at_the_top() -> None:
    """Let what comes stand in the page itself; to be called before anything is drawn.

    A part that redraws itself (``st.fragment``) leaves the place where it stands as the place
    to draw at.  Where a press arrives just after, Streamlit (1.67) goes on in the same thread
    and draws the whole page into that part: the browser then shows two pages in one,
    and a blank one as soon as the part is drawn again.  So do all of Streamlit's own ways to
    begin anew, but for this one.
    """
    context_dg_stack.set(get_default_dg_stack_value())
