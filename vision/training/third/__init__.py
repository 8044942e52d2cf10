"""A third kind of scene, path-traced by Cycles (Blender as a module): it teaches nothing.

The widths of the intervals are judged on it.  It shares the scale file with the other two
kinds of scene and nothing else.
"""
