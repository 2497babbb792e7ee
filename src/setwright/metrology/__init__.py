"""A reading: a value with its unit as written, its uncertainty, place, convention and state."""
