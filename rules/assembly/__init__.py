"""The work instruction: clean, build, measure, sign."""
