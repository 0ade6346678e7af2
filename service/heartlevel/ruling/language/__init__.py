"""What rules are: conditions and their meaning, sentences, rules and rule sets, faults of rule files.

May import no other room.
"""
