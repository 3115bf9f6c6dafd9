"""The public contract: models of requests and reports, and parsing of JSON into them."""
