"""Kerfcall: a hands-free cutting assistant for box joints and slotted joinery."""

__version__ = "0.1.0"
