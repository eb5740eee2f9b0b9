"""The history of the tables: one module a change in `versions`, applied in order by `runner`."""
