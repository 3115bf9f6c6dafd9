"""The exact law of the length of a sum of plane vectors at random angles."""
