"""What the cut requires: torque, pull, force, speed and power."""
