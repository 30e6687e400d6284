"""A key that a foot presses -> gestures: the listener, its timers, and the learning of the key."""
