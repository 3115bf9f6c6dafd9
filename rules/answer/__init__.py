"""Parts common to all answers: findings and undecided rules in words, provenance, cautions."""
