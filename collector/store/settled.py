"""Reading a store in which every row below the newest one is there.

PostgreSQL numbers a row when it is inserted, not when it is committed: with several writers the newest row
may be there before an older one. Whoever says "all rows up to this number" has to look while nobody writes.

References
----------
PostgreSQL 15 manual, 9.17 "Sequence Manipulation Functions" (numbers are not given back) and 13.3.1
"Table-Level Locks" (SHARE waits for whoever writes, and those who come after wait for it).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import sqlalchemy as sa

from collector.store import database


@contextmanager
def read(engine: sa.Engine, tables: Sequence[sa.Table]) -> Iterator[sa.Connection]:
    """One reading transaction as :func:`collector.store.database.read`, begun while nobody writes these.

    Writers wait until the transaction has begun, not until it ends.

    Raises
    ------
    StoreUnavailable
        The database cannot be reached for now, or a writer did not end in time.
    """
    if engine.dialect.name != "postgresql":  # one writer at a time, so numbers are committed in their order
        with database.read(engine) as connection:
            yield connection
        return
    with database.read(engine) as connection:
        with database.write(engine) as gate:
            names = ", ".join(table.name for table in tables)
            gate.exec_driver_sql(f"LOCK TABLE {names} IN SHARE MODE")
            connection.execute(sa.select(1))  # the first statement fixes what the transaction sees
        yield connection
