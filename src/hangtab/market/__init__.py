"""Market: how the market as a whole moves.

Promises: an index with its band, what was out of the ordinary, how often a piece comes up, how long it takes to sell.
Reads: levelled evidence and fits. Gives: series and counts with ranges; a headline never goes beyond its band.
Not here: one piece's worth (valuing), or the words and pictures of a round-up (roundup, rendering).
State: this room is laid out and empty; nothing imports it yet.
"""
