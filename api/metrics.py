"""Count and time requests for Prometheus, if metrics are switched on."""

#: From a cached answer to a whole country's report. [s]
SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)


class Metrics:
    """The counts of one service process, by the name of the operation and never by an id."""

    def __init__(self) -> None:
        # Few services show metrics, so that the others start without the package.
        import prometheus_client as prometheus

        self._registry = prometheus.CollectorRegistry()
        self._requests = prometheus.Counter(
            "gustbook_requests", "Requests answered.", ("operation", "status"),
            registry=self._registry,
        )  # fmt: skip
        self._seconds = prometheus.Histogram(
            "gustbook_request_seconds", "Time to the end of an answer.", ("operation",),
            buckets=SECONDS, registry=self._registry,
        )  # fmt: skip
        self._deliveries = prometheus.Counter(
            "gustbook_webhook_attempts",
            "Attempts to deliver a message: delivered, to be repeated (pending), or failed.",
            ("state",), registry=self._registry,
        )  # fmt: skip
        self.running = prometheus.Gauge(
            "gustbook_requests_running", "Requests being worked on.", registry=self._registry
        )

    def note(self, operation: str, status: int, seconds: float) -> None:
        """Count one answered request."""
        self._requests.labels(operation, status).inc()
        self._seconds.labels(operation).observe(seconds)

    def note_delivery(self, state: str) -> None:
        """Count one attempt to deliver a webhook's message, by the state that it came to."""
        self._deliveries.labels(state).inc()

    def shown(self) -> tuple[bytes, str]:
        """Return all counts in Prometheus' text format, and its media type."""
        from prometheus_client import CONTENT_TYPE_LATEST, generate_latest

        return generate_latest(self._registry), CONTENT_TYPE_LATEST
