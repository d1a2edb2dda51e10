"""Count and time requests for Prometheus, if metrics are switched on."""

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest

#: From a cached answer to a whole country's report. [s]
SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)


class Metrics:
    """The counts of one service process, by the name of the operation and never by an id."""

    def __init__(self) -> None:
        self._registry = CollectorRegistry()
        self._requests = Counter(
            "gustbook_requests", "Requests answered.", ("operation", "status"),
            registry=self._registry,
        )  # fmt: skip
        self._seconds = Histogram(
            "gustbook_request_seconds", "Time to the end of an answer.", ("operation",),
            buckets=SECONDS, registry=self._registry,
        )  # fmt: skip
        self.running = Gauge(
            "gustbook_requests_running", "Requests being worked on.", registry=self._registry
        )

    def note(self, operation: str, status: int, seconds: float) -> None:
        """Count one answered request."""
        self._requests.labels(operation, status).inc()
        self._seconds.labels(operation).observe(seconds)

    def shown(self) -> bytes:
        """Return all counts in Prometheus' text format."""
        return generate_latest(self._registry)
