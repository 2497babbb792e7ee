"""Sheets: drawings to scale, as text. They know lengths, units and the instrument's frame, and touch no file."""
