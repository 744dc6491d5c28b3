#!/bin/sh
# Log a cut with curl, however often the network fails: the key stays the same, so it is stored once.
# Usage: WRAPLEDGER_TOKEN=… sh log_cut.sh http://127.0.0.1:8000 REEL METRES WHEN DOCUMENT
#        sh log_cut.sh http://127.0.0.1:8000 LW-0001 12.5 2026-03-02T10:00:00Z WO-1001
set -eu
[ $# = 5 ] || { sed -n '2,4p' "$0" >&2; exit 2; }
service=$1 reel=$2 metres=$3 when=$4 document=$5
body=$(printf '{"kind": "cut", "length_removed_m": "%s", "happened_at": "%s", "document": "%s"}' "$metres" "$when" "$document")
key=$(printf '%s %s' "$reel" "$body" | sha256sum | cut -c1-64)
answer=$(mktemp)
trap 'rm -f "$answer"' EXIT
for wait in 1 2 4 8 16 0; do
    status=$(curl --silent --show-error --max-time 30 --output "$answer" --write-out '%{http_code}' \
        --header "Authorization: Bearer $WRAPLEDGER_TOKEN" --header 'Content-Type: application/json' \
        --header "Idempotency-Key: \"$key\"" --data "$body" "$service/api/v1/reels/$reel/cable-events") || status=000
    case $status in
    2*) echo "Stored:"; cat "$answer"; echo; exit 0 ;;
    000 | 429 | 5*) echo "No answer yet ($status); trying again in $wait s." >&2; sleep "$wait" ;;
    *) echo "Refused ($status):" >&2; cat "$answer" >&2; echo >&2; exit 1 ;;
    esac
done
echo "No answer. Run the same command again later; it is stored once." >&2
exit 3
