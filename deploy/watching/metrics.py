"""Prometheus metrics: what this node's processes did, and what stands in the records.

Under gunicorn each process keeps its counts in PROMETHEUS_MULTIPROC_DIR, and whichever is asked adds them up; the
configuration in deploy/server/gunicorn_conf.py makes that folder. See operations.md for the alerts they are for.
"""

import os
from collections.abc import Iterator

from django.db import DatabaseError
from prometheus_client import REGISTRY, CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from deploy.watching import figures

SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)
METHODS = frozenset({"GET", "HEAD", "POST", "PATCH", "PUT", "DELETE", "OPTIONS"})

REQUESTS = Counter("wrapledger_requests", "Requests answered.", ["method", "route", "status"])
DURATIONS = Histogram("wrapledger_request_seconds", "How long answers took.", ["route"], buckets=SECONDS)


def count(method: str, route: str, status: int, took_s: float) -> None:
    """Count an answered request. route: a pattern, never a path, so that there are few."""
    REQUESTS.labels(method if method in METHODS else "other", route, status).inc()
    DURATIONS.labels(route).observe(took_s)


class Records(Collector):
    """What stands in the records at this moment, read when it is asked for."""

    def collect(self) -> Iterator[GaugeMetricFamily]:
        try:
            current = list(figures.all_figures())
        except DatabaseError:
            current = []
        yield GaugeMetricFamily("wrapledger_database_up", "1: the figures of the records were read.", bool(current))
        for each in current:
            family = GaugeMetricFamily(
                f"wrapledger_{each.name}", each.documentation, labels=[each.label] if each.label else []
            )
            for label, value in each.values.items():
                family.add_metric([label] if each.label else [], value)
            yield family

    def describe(self) -> list[GaugeMetricFamily]:
        return []


def exposition() -> bytes:
    records, own = CollectorRegistry(), REGISTRY
    records.register(Records())
    if "PROMETHEUS_MULTIPROC_DIR" in os.environ:
        own = CollectorRegistry()
        MultiProcessCollector(own)  # type: ignore[no-untyped-call]
    return generate_latest(own) + generate_latest(records)
