"""Batches of checks: lines, worker processes and streamed results."""
