"""Rules as data: facts and their vocabulary; rulebooks are loaded, checked and compiled for the engine."""
