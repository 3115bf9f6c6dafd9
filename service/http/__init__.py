"""The HTTP API: routes, representations, middleware, OpenAPI."""
