"""The words of the trade as frozen values.

Money, dates with their precision, the subject (which piece, in which state), evidence (one market fact), the
all-in price with its steps, candidates of a name, and the worth. Errors and progress reports are here as well.
This room imports nothing of the project: everything else may import it.
"""
