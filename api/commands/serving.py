"""The commands that run the service, or describe its API."""

import json
import os
import sys
from typing import Annotated

import typer

#: On SIGTERM open requests are finished within this time. [s]
STOP_WITHIN_S = 8
#: How long a thread may calculate before Python switches to another: a season's report takes
#: seconds, and a small request needs about twenty switches. [s]
TURN_S = 0.0005
#: Open connections at once; more are answered with 503 at no cost.
MOST_CONNECTIONS = 2000

app = typer.Typer()


@app.command(epilog="Example: gustbook serve --host 127.0.0.1 --port 8000")
def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on.")] = 8000,
) -> None:
    """Run the service; an embedded database is brought to the newest schema first."""
    from api import heap

    heap.configure()
    # numpy reads this when it is imported. Our matrices are small: more threads bring no speed,
    # and waste another core with waiting for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    import uvicorn

    from api import logs
    from api.commands.migrating import bring_up_to_date
    from api.commands.opening import settings_or_stop
    from api.embedded import JOURNAL, SQLITE_VERSION, is_embedded
    from api.main import create_app
    from api.patience import PatientProtocol

    settings = settings_or_stop()
    logs.configure(settings.log_level)
    sys.setswitchinterval(TURN_S)
    if is_embedded(settings.database_url):
        bring_up_to_date(settings, tell=logs.say)
        logs.say("embedded database", sqlite=SQLITE_VERSION, journal=JOURNAL.lower())
    application = create_app(settings)
    heap.freeze()
    uvicorn.run(
        application,
        http=PatientProtocol,
        log_config=None,
        host=host,
        port=port,
        access_log=False,
        server_header=False,
        proxy_headers=True,
        forwarded_allow_ips=settings.trusted_proxies,
        timeout_graceful_shutdown=STOP_WITHIN_S,
        limit_concurrency=MOST_CONNECTIONS,
    )


@app.command(epilog="Example: gustbook openapi > openapi.json")
def openapi() -> None:
    """Print the OpenAPI document."""
    from api.commands.opening import settings_or_stop
    from api.main import create_app

    json.dump(create_app(settings_or_stop()).openapi(), sys.stdout, indent=1, ensure_ascii=False)
    sys.stdout.write("\n")
