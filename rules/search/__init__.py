"""Stacks that can be built from an inventory and meet a requirement."""
