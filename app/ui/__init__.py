"""Shared pieces of the pages: fields, blocks of words, pictures, confirmation.

They show and they ask; what they show comes from ``vision`` and ``app.records``.
"""
