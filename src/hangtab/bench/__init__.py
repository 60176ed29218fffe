"""Bench: measuring on photos.

Promises: a length, an angle or a colour comes with its uncertainty, from a scale that is in the photo.
Reads: the pixels of a photo. Gives: measurements to hold against the catalogue's own measures.
Not here: authentication. A measurement can contradict a claim; it cannot confirm a piece.
State: this room is laid out and empty; nothing imports it yet.
"""
