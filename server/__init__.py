"""The service: drying model, store, API, pages and phone, put together in `server.app`."""
