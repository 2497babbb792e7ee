"""The practice instrument: a virtual instrument with hidden traits behind the readings a bench has."""
