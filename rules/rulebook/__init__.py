"""Rules as data: facts and their vocabulary, rulebooks read, checked and lowered for the engine."""
