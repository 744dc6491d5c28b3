"""What gunicorn is told beside its defaults wherever it serves Wrapledger: `gunicorn -c python:deploy.serving …`."""

timeout = 30  # seconds; REQUEST_SECONDS ends a request before that, with an answer

# A page's path carries its filters and its cursor; by default only 4094 bytes are taken.
limit_request_line = 8190
