"""The store: tables and every line of SQL. Rows are turned into plain values here."""
