"""What findings make of readings: how reliable they are, and by how much faults move what was measured.

May import: language, running.
"""
