"""Words to sound: a voice, a cache of what it rendered, a player that can be cut off, or a file instead."""
