"""A schema that does not exist yet, for trying upgrades."""
