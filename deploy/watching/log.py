"""What the log says: one JSON object a line, each with the id of the request it belongs to; and slow queries."""

import json
import logging
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from django.conf import settings
from django.db.backends.base.base import BaseDatabaseWrapper

from deploy.watching import request_id

MOST_CHARACTERS = 2000
# What every record has of its own; whatever else a record carries was given with `extra`.
PLAIN = frozenset(vars(logging.LogRecord("", 0, "", 0, "", (), None))) | {"message", "asctime", "taskName", "request"}

queries = logging.getLogger("wrapledger.queries")


class JsonLines(logging.Formatter):
    """A record as one line of JSON: at, level, logger, message, request_id, what `extra` gave, and a traceback."""

    def format(self, record: logging.LogRecord) -> str:
        fields: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if request_id.current():
            fields["request_id"] = request_id.current()
        fields |= {name: value for name, value in vars(record).items() if name not in PLAIN}
        if record.exc_info:
            fields["traceback"] = self.formatException(record.exc_info)
        return json.dumps(fields, ensure_ascii=False, default=str)


def watch_queries(sender: Any, connection: BaseDatabaseWrapper, **kwargs: Any) -> None:
    """Have every query of a new connection timed. For Django's signal `connection_created`."""
    if log_if_slow not in connection.execute_wrappers:
        connection.execute_wrappers.append(log_if_slow)


def log_if_slow(execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: dict[str, Any]) -> Any:
    """Run a query; say so if it took SLOW_QUERY_MS or longer. Values stay out of the log: they may be secret."""
    started = time.perf_counter()
    try:
        return execute(sql, params, many, context)
    finally:
        took_ms = (time.perf_counter() - started) * 1000
        if 0 < settings.SLOW_QUERY_MS <= took_ms:
            queries.warning("slow query", extra={"duration_ms": round(took_ms), "sql": str(sql)[:MOST_CHARACTERS]})
