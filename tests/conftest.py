"""Fixtures for every test: each group is a module of its own, listed here."""

import os

# As the command line does, and before numpy is imported: threads for small matrices cost more than they gain.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

pytest_plugins = [
    "tests.certificates",
    "tests.mosquitto_fixtures",
    "tests.store_fixtures",
]
