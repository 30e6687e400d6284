"""The bench page: what the session shows, on a phone or tablet, and the few things that can be done from there.

Threads: the session's thread hands over snapshots and returns at once. The hub's thread words them and gives them to
every stream. One thread for each connection serves it. Nothing here waits for a device, and no device for another.

Who gets in: `gate` (hosts, origins, rates), `pairing` (the code), `devices` (who is paired). What a page can do:
`doing`, and for everything that comes from here, `session.from_page` again.
"""
