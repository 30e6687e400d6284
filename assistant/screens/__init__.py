"""The terminal view, plain lines, the terminal's keys, and the bench page."""
