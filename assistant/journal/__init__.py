"""The journal: every session's facts in one SQLite database, committed before anything is said.

codec      converts facts to JSON and back, one codec for each kind, with upcasters
seals      makes checksums of facts, in a chain, and of rows
playing    plays a session's facts back into the state they lead to
private    makes files and folders that only the user can open
schema     the tables, their versions and migrations
rows       a session's row, and what its facts add up to
store      `Journal`: append, replay, list
lock       allows one process for each session
pages      reads rows straight from the file's pages, for repair
repair     builds a new database from what can be read
account    puts a session into plain words
export     writes JSON and CSV
"""
