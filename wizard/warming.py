"""Loading the slow parts once, behind the first page drawn, never in a page."""

from __future__ import annotations

import gc
import threading
from functools import cache


@cache
def begin() -> None:
    """Load them in a thread of their own; once for the server, however often it is asked."""
    threading.Thread(target=warm_up, name="warm-up", daemon=True).start()


def warm_up() -> None:
    """Import charts, tables and the property library, and wake the compiled run model.

    What is loaded stays: the garbage collection that Streamlit does after every page drawn need
    not go through it (0.11 s each time, in which a click could be lost that came just before a
    page was drawn again).
    """
    import altair  # noqa: F401
    import pandas  # noqa: F401

    from experiments import logs, recommendation, sequential  # noqa: F401
    from experiments.example_dossiers import names
    from experiments.job_file import parse
    from experiments.job_simulator import JobSimulator
    from models.parameters import PARAMETERS

    with logs.timed("warm-up"):
        import numpy as np

        job = parse(names()[0].job)
        middle = {f.name: f.choices[0] if f.choices else 0.5 * (f.low + f.high)
                  for f in job.factors}
        simulator = JobSimulator(job)
        simulator(simulator.rows([middle]), np.zeros((1, len(PARAMETERS))))
    gc.collect()
    gc.freeze()
