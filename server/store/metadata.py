"""All the tables together, whichever module they are in: what migrations lead to."""

from server.store import (
    access_tables,
    check_tables,
    node_tables,
    notes_tables,
    plan_tables,
    tables,
    told_tables,
)

TABLE_MODULES = (tables, node_tables, access_tables, told_tables, check_tables, notes_tables, plan_tables)
"""Where tables are; to be listed here is to be known to migrations and to their test."""

METADATA = tables.Row.metadata
