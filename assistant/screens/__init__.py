"""What is seen: plain lines, and the terminal's keys."""
