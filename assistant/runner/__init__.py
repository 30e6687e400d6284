"""The one loop: queue -> decide, which applies -> commit -> effects."""
