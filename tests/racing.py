"""Two people at once, each on a connection of their own, with real commits."""

import threading
from concurrent.futures import Future

from django.db import connection

from tests.servers import wait_until


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


def queued_behind(call) -> Future:
    """Start the call on a connection of its own; answers when it waits for a lock that the caller's transaction has.

    Ask for the result behind the end of that transaction.
    """
    future, before = Future(), waiting_for_a_lock()

    def run():
        try:
            future.set_result(call())
        except Exception as error:
            future.set_exception(error)
        finally:
            connection.close()

    threading.Thread(target=run).start()
    wait_until(lambda: future.done() or waiting_for_a_lock() > before)
    assert not future.done(), "it did not wait"
    return future


def waiting_for_a_lock():
    """Connections of this test's database that stand in a queue for a lock, as of now."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_stat_clear_snapshot()")  # or a transaction sees what it saw at first
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'"
        )
        return cursor.fetchone()[0]
