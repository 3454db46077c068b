"""Two people at once, each on a connection of their own, with real commits."""

import threading

from django.db import connection


def at_once(*calls):
    """Run the calls at the same moment; answer for each what it returned, or the exception it raised."""
    barrier, outcomes = threading.Barrier(len(calls)), [None] * len(calls)

    def run(place, call):
        try:
            connection.ensure_connection()
            barrier.wait(timeout=30)
            outcomes[place] = call()
        except Exception as error:
            outcomes[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(calls)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return outcomes
