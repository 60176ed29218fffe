"""Holdings: the pieces a person owns.

Promises: cost basis, provenance, certificate and place are kept; gains are arithmetic on the user's own settings.
Reads: pieces, costs and worths over time. Gives: schedules, totals with a true range, gains.
Not here: tax advice, or an appraisal for an insurer.
State: this room is laid out and empty; nothing imports it yet.
"""
