"""What layers are held against before they come into force: proofs, patients, plausible values."""
