"""The checks of the drying model against the world, as a table: `python -m tests.drying.checks`."""
