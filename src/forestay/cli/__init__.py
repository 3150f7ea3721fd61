"""The command line. Linear algebra keeps to one thread: the matrices here are small, and threads cost far more than they
bring (a ring's rest took eight times the processor time with two). Set before numpy is first imported."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
