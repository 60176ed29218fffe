"""Linking: which readings speak of the same fact, the same listing, the same physical piece.

Promises: an export taken in twice, a regrade, or a piece sold again is recognised, never silently merged.
Reads: readings with their certificate numbers, photos, dates and handles. Gives: links with a probability and reasons.
Not here: deciding what the piece is called (naming), or storing the link (storage).
State: this room is laid out and empty; nothing imports it yet.
"""
