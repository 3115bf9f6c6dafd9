"""Many requests in one body: lines, worker processes, the stream of answers."""
