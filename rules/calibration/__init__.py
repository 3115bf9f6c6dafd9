"""A shop's own readings of assemblies, turned into assumed values of its own."""
