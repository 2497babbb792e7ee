"""Steps from one schema of a shop's database to the next."""
