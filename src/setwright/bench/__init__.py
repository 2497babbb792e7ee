"""The use cases: everything a face can ask for, each one function."""
