"""What every request passes through before it reaches a route."""
