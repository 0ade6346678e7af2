"""How sure what is concluded is, and how much surer more days would make it: arithmetic over columns."""
