"""Couplings: one definition each, with its model, the table of its standard, and the properties from both."""
