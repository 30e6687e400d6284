"""Pure joint geometry: exact fractions of a millimetre; imports nothing of ours but `errors`."""
