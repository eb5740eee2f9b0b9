"""Gaugings: which disc a reading belongs to, how old the disc was, and what to gauge next."""
