#!/bin/sh
# One person, the same by pinned rules, and many in a stream.
#     assess.sh http://localhost:8000 request.json people.ndjson
set -eu
url=$1/v1/assessments request=$2 people=$3
headers=$(mktemp)
trap 'rm -f "$headers"' EXIT

# An assessment changes nothing, so it may be sent again as it is.
assess() {
    curl -sS --fail-with-body --retry 3 --retry-connrefused --max-time 60 \
        -H 'Content-Type: application/json' --data-binary "@$request" "$@" "$url"
    echo
}

assess -D "$headers"
# The ETag names the rules: with If-Match, the answer is by the same rules or is 412.
rules=$(sed -n 's/^[Ee][Tt]ag: *//p' "$headers" | tr -d '\r')
assess -H "If-Match: $rules"
# curl sends and reads at the same time; with -N each answer is shown when it comes.
curl -sS -N --fail-with-body -X POST -H 'Content-Type: application/x-ndjson' -T "$people" "$url"
