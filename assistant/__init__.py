"""Kerfcall: a hands-free cutting assistant for box joints and slotted joinery."""

__version__ = "0.1.0"
RELEASED = "2026-11-25"  # of this version: a clock that stands before it is wrong
