"""A second physics: chambers path-traced by Mitsuba 3, with exact labels (a seed in, a folder out).

Shares nothing with ``vision.synthetic`` but the scale file.  Mitsuba is asked for only where a
picture is traced (extra ``train``); geometry and labels do without.
"""
