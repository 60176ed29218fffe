"""Round-up: one published piece about the market, as data.

Promises: every figure in it can be pressed back to its evidence, and own holdings are disclosed.
Reads: facts from market, valuing and holdings. Gives: a RoundUp value: order, chapters, claims, sources.
Not here: pages, pictures or PDF (rendering).
State: this room is laid out and empty; nothing imports it yet.
"""
