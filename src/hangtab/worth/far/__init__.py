"""Far: one fit over rows that lie on several machines.

Promises: the same figures as one fit over all rows; rows never leave the place that read them, only sums do.
Reads: a folder of Parquet files and the address of a dask scheduler. Gives: `FarFitted`.
Not here: any mathematics. Each place runs the engine's own fit (fitting.py) and meets the others in its sums alone.
"""

from hangtab.worth.far.cluster import FarFitted, fit_far

__all__ = ["FarFitted", "fit_far"]
