"""Who may ask for what: keys kept as salted hashes, or tokens that an issuer signed. Without either the service is open."""
