"""The public contract: what a request may say and what a report answers."""
