"""The one loop: queue -> decide -> commit -> apply -> effects."""
