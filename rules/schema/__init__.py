"""The public contract: models of request and answer, and the reading of JSON into them."""
