"""Pure functions of the physics: SI in and out, broadcasting, no I/O."""
