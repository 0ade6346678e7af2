"""What layers are held against before they come into force: proofs, frozen patients, plausible values."""
