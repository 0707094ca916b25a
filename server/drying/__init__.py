"""The drying model: air in, water left at each spot out. Pure: nothing else of the server."""
