"""One definition a coupling: its model, its standard's table, and what follows from the two."""
