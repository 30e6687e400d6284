"""The journal: every session's facts in one SQLite database, committed before anything is said.

codec      facts to JSON and back, one codec per kind, with upcasters
seals      checksums of facts, chained, and of rows
playing    a session's facts to the state that they lead to
private    files and folders for nobody but the user
schema     the tables, their versions and migrations
rows       a session's row and what its facts add up to
store      `Journal`: append, replay, list
lock       one process per session
pages      rows read straight from the file's pages, for repair
repair     a fresh database from what can be read
account    a session in plain words
export     JSON and CSV
"""
