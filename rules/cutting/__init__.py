"""Cutting load: torque, axial pull, radial force, speed and power."""
