"""Open formats in and out: components from ISO 13399 data, a checked stack as an asset document.

Reading is strict and says what it left out: a value that the contract has no place for, or that a
document states in words of its own, is listed with its reason and never guessed.
"""
