"""Whether what is stored is what was stored.

`rows` gives each shot, gauging and closed alarm a digest; `seal` folds those of a day into one entry of the
journal, whose entries are chained; `heads` takes the end of the chain out of the store, to a file and to the
broker; `check` holds all of it against each other. What was written since the last head left the store can
still be rewritten by whoever owns the database, and nothing here can show it.
"""
