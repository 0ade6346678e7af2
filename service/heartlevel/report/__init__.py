"""The report on a subject for a clinician: one page to look at, to print and to hand over."""
