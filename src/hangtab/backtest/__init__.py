"""Backtest: how wrong the estimates have been.

Promises: each figure is made from sales that came after the fit it judges (rolling origin), never before.
Reads: engine rows in time order and a Spec. Gives: errors, coverage of ranges and the assessors' ratio statistics.
Not here: the estimate itself (worth, valuing), or how the track record is drawn (web, rendering).
State: this room is laid out and empty; nothing imports it yet.
"""
