"""A key pressed by a foot -> gestures: the listener, its timers, and learning which key a pedal sends."""
