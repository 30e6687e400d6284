"""Turns words into sound: a voice, a cache of rendered speech, and a player that can be interrupted, or a file."""
