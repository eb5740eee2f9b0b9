"""Fixtures for every test: each group is a module of its own, listed here."""

pytest_plugins = [
    "tests.mosquitto_fixtures",
    "tests.store_fixtures",
]
