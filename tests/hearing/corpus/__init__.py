"""Sound to measure hearing with, made at run time from packages and written formulas; nothing of it is in the tree.

Every voice, human piece, sentence and seed belongs to one half: "tune" to set limits by, "report" to print figures of.
"""
