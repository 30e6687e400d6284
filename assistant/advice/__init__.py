"""Advice before a cut: which fingers suit a board, whether a joint will go together, how its wood will move."""
