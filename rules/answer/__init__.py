"""What all answers share: findings and gaps in words, provenance, cautions."""
