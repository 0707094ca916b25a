"""The drying model: air in, water left at each spot out. Pure: numbers and the air, nothing else of the server."""
