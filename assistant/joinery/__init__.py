"""Pure joint geometry in exact fractions of a millimetre; imports nothing of ours but `errors`."""
