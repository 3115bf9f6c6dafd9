"""``token``: make a bearer token."""

from __future__ import annotations

import argparse

from service.http.access import digest_of, new_token

__all__ = ["add_parser"]

_ABOUT = """\
Make a new random bearer token. Give the token to the client, over a channel that nobody else reads, and its digest to
the service: STACKGAUGE_TOKENS_SHA256 is a JSON list of digests, all of which are taken. To change a token without a
gap add the new digest, have the client use the new token, then take out the old digest.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("token", help="make a bearer token", description=_ABOUT)
    parser.set_defaults(run=_run)


def _run(_: argparse.Namespace) -> int:
    token = new_token()
    print(f"token:  {token}")
    print(f"sha256: {digest_of(token)}")
    return 0
