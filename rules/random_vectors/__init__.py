"""Exact distribution of the length of a sum of plane vectors at random angles."""
