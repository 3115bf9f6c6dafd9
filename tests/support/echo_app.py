"""The scale of the service: the same framework and the same model, and nothing done with it.

Run: python -m tests.support.echo_app --port PORT
"""

from __future__ import annotations

import argparse

import uvicorn
from fastapi import FastAPI

from rules.schema.request import CheckRequest
from service.operations.process import settle

__all__ = ["echo_app"]


def echo_app() -> FastAPI:
    """An application that parses a request for a check as the framework does, and sends it back."""
    app = FastAPI()

    @app.get("/readyz")
    async def ready() -> None:
        """Answers."""

    @app.post("/v1/checks")
    async def echo(request: CheckRequest) -> CheckRequest:
        """The request as understood."""
        return request

    return app


def main() -> None:
    """Serve it as ``python -m service serve`` serves the service."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int, required=True)
    app = echo_app()
    settle()
    uvicorn.run(app, host="127.0.0.1", port=parser.parse_args().port, log_level="info", server_header=False)


if __name__ == "__main__":
    main()
