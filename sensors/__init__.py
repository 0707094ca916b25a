"""What the air in the shop did: packets, payloads, readings, the air record. Knows no trees, no store."""
