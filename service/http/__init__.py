"""The HTTP face: routes, representations, middleware, OpenAPI."""
