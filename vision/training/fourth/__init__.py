"""A fourth kind of scene, path-traced by LuxCoreRender: it judges, and nothing learns from it.

It shares the scale file with the other kinds of scene and nothing else.
"""
