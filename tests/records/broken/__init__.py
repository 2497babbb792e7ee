"""A step that would lose rows, for trying what an upgrade refuses."""
