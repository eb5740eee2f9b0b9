"""One module a change of the tables; each names the one before it."""
