"""What the instrument is, what hands turn, what will be read."""
