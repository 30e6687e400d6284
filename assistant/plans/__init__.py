"""Reads plan and shop files (TOML) into frozen dataclasses, and builds a job from both."""
