"""The scene tracer compiled: the same rays as ``vision.scenes``, some fifty times faster.

Needs a C compiler; used only for making training views in bulk.
"""
