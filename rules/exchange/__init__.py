"""Import of components from ISO 13399 data, and export of a checked stack as an asset document.

Import is strict. A value without a field in the contract, or in a document's own wording, is reported with its reason
and never guessed.
"""
