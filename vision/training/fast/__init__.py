"""The scene tracer compiled: the rays of ``vision.synthetic.chamber``, fifty times faster.

Needs a C compiler; used only for making training views in bulk.
"""
