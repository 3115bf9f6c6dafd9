"""Tolerances, fits, clamping capacity and shrink-fit joints."""
