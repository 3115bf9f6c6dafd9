"""Stiffness at the tip and natural bending frequencies of a stack."""
