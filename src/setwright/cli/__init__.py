"""The command line."""

import os

# Every matrix here is small: more threads would not help, and making them is a tenth of a second at every start.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
