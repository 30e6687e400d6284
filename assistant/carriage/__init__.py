"""Moves a carriage that a motor drives: the serial line to its motion controller, and what is said over it."""
