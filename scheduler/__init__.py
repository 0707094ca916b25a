"""Who is next and which notice is due. Asks a judge and a ledger; knows no physics, HTTP or SQL."""
