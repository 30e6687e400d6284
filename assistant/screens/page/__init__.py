"""The bench page: what the session shows, on a phone or tablet, and the little that may be done from there.

Threads: the session's hands over snapshots and returns at once; the hub's words them and gives them
to every stream; one a connection serves it. Nothing here waits for a device, and no device for another.

Who gets in: `gate` (hosts, origins, rates), `pairing` (the code), `devices` (who is paired). What may be
done: `doing`; and again, whatever comes from here, `session.from_page`.
"""
