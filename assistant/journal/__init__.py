"""The journal: every session's facts in one SQLite database, committed before anything is said.

codec      facts to JSON and back, one codec per kind, with upcasters
schema     the tables, their versions and migrations
store      `Journal`: append, replay, list
lock       one process per session
pages      rows read straight from the file's pages, for repair
repair     a fresh database from what can be read
account    a session told in plain words
export     JSON and CSV
"""
