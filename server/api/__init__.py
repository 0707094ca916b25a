"""The HTTP API of the contract: one module a resource, put together by `server.api.router`."""
