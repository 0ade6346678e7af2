"""What a terminal can show: its width, colour, a plot of text."""
