"""The command: parse, call the use case, show.

The numeric libraries get one thread each, unless the caller set it otherwise. Their products are small here; shared out
among threads that wait for one another, they fall behind the player where the machine is busy with anything else. Each
library reads its variable when it is loaded, so this stands before everything; other processes inherit it.
"""

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(_name, "1")
