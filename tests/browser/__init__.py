"""Tests of the pages in a browser; a package, so that pytest closes the browser behind its last file."""
