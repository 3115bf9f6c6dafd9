"""The work instruction: clean, assemble, measure, sign."""
