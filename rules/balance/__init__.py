"""Unbalance, couple and balance quality grade."""
