"""Audit of a tool library: streamed results and a summary in bounded memory."""
