"""Wire formats in, one Batch out."""
