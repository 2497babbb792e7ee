"""From targets to an ordered plan of turns."""
