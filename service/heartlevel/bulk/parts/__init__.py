"""Parts of the inputs, none of which splits a subject."""
