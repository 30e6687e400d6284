"""What the machine really does: readings to values with uncertainties, and what a value means for the shop file."""
