"""The release of a work order."""
