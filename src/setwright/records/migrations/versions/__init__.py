"""One file for each released schema."""
