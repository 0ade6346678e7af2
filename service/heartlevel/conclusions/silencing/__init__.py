"""The nearest change of facts that would silence a finding: it says how far the facts are from another outcome."""
