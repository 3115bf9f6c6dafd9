"""Speed limits of a stack."""
