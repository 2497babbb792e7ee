"""The bench app: the work of the command line in the browser. It calls `bench` and shows the answer."""
