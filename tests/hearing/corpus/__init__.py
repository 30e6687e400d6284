"""Sound for measuring hearing, made at run time from packages and written formulas. None of it is in the repository.

Every voice, human piece, sentence and seed belongs to one half: "tune" to set limits by, "report" to print figures of.
"""
