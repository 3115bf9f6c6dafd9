"""Numbers of standards and textbooks: YAML tables, each row with its source, and typed look-ups."""
