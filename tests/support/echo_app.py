"""Reference for measurements: the same framework and request model, without any work.

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
    """Return an application that parses a check request by the framework and returns it."""
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
    """Serve it with the server settings of ``python -m service serve``."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int, required=True)
    app = echo_app()
    settle()
    uvicorn.run(app, host="127.0.0.1", port=parser.parse_args().port, log_level="info", server_header=False)


if __name__ == "__main__":
    main()
