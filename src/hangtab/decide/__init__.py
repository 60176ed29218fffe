"""Decide: from a worth and terms to what to do.

Promises: the highest sensible bid or offer, whether grading pays, lot or single, which purchases complete a set.
Reads: worths with their joint spread and fee schedules. Gives: choices with what each is expected to leave.
Not here: advice. It computes; the person decides, and the cautions stand where the figure stands.
State: this room is laid out and empty; nothing imports it yet.
"""
