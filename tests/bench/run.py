"""`make bench`: the speeds that are promised, as ratios measured in one run on PostgreSQL.

Prints a table, keeps it as JSON in var/bench.json, ends with 1 when a promise is missed. A part alone:
make bench ARGS=documents. The database is made for the run and dropped; a running PostgreSQL is used when it can be
(DAMPERBOOK_TEST_DATABASE_URL), a private one is started otherwise.
"""

import argparse
import contextlib
import json
import os
import platform
import sys
import tempfile
from dataclasses import asdict
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path

from shop.bootstrap import VAR
from tests.run import clean_environment, find_server, own_database
from tests.servers import ServerFailed, postgres_problem, private_postgres

PARTS = ["documents", "lists", "lookup", "calculations", "exchange", "finding", "day", "picks", "ledger"]


def measure(parts):
    """Run each part on a migrated database of its own; each yields its measures."""
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="damperbook-bench-")))
        url = find_server(
            stack,
            "PostgreSQL",
            "DAMPERBOOK_TEST_DATABASE_URL",
            "postgres://postgres@127.0.0.1:5432/postgres",
            postgres_problem,
            private_postgres,
        )
        surroundings = {**clean_environment(folder), "DAMPERBOOK_DATABASE_URL": stack.enter_context(own_database(url))}
        os.environ.clear()
        os.environ.update(surroundings, DJANGO_SETTINGS_MODULE="tests.bench.settings")
        import django

        django.setup()
        from django.db import connection

        stack.callback(connection.close)
        name = connection.settings_dict["NAME"]
        for part in parts:  # each on a book of its own: what one fills in would be in the way of the next
            print(f"Measuring: {part}", flush=True)
            connection.creation.create_test_db(verbosity=0, autoclobber=True)
            yield from import_module(f"tests.bench.{part}").measure()
            connection.creation.destroy_test_db(name, verbosity=0)


def table(measures):
    rows = [("", "measured", "limit", "")]
    rows += [(one.name, f"{one.value:.3g}", f"{one.limit:g}", "kept" if one.kept else "MISSED") for one in measures]
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    lines = []
    for row, one in zip(rows, [None, *measures], strict=True):
        name, value, limit, verdict = (text.ljust(width) for text, width in zip(row, widths, strict=True))
        lines.append(f"{name}  {value}  {limit}  {verdict}".rstrip())
        lines += [f"    {one.how}"] if one else []
    return "\n".join(lines)


def keep(measures):
    path = VAR / "bench.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    told = {
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "python": platform.python_version(),
        "cores": os.cpu_count(),
        "measures": [{**asdict(one), "kept": one.kept} for one in measures],
    }
    path.write_text(json.dumps(told, indent=2, ensure_ascii=False) + "\n")
    return path


def main(arguments):
    parser = argparse.ArgumentParser(prog="make bench")
    parser.add_argument("parts", nargs="*", metavar="part", help=f"one of {', '.join(PARTS)}; all when none is given")
    asked = parser.parse_args(arguments).parts
    if unknown := set(asked) - set(PARTS):
        parser.error(f"there is no part {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
    try:
        measures = list(measure(asked or PARTS))
    except ServerFailed as failure:
        print(f"Nothing could be measured. {failure}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nStopped.", file=sys.stderr)
        return 130
    print(f"\n{table(measures)}\n\nKept in {keep(measures)}")
    return 0 if all(one.kept for one in measures) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
