"""Kerfcall: a hands-free cutting assistant for box joints and slotted joinery."""

__version__ = "0.1.0"  # pyproject.toml takes it from here
RELEASED = "2026-11-25"  # the date of this version: a clock that shows an earlier date is wrong

CAUTION = (
    "Kerfcall never stops a blade. The saw's manual, local regulations and safe working practice come first; "
    "hearing protection stays on."
)
