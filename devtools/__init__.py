"""What ./dev does, in modules of the standard library: set-up, tests, checks, locks, generated pages."""
