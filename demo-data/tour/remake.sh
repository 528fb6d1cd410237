#!/usr/bin/env bash
# Runs the commands of the tour in the README, one after the other as they stand there, and keeps
# the pictures that it shows.
# Usage: remake.sh [PROGRAM [FOLDER]]   without a folder the pictures here are made anew
set -eu
here=$(cd "$(dirname "$0")" && pwd)
program=$(realpath "${1:-$here/../../target/release/sprayside}")
into=$(realpath "${2:-$here}")
room=$(mktemp -d)
trap 'rm -rf "$room"' EXIT
tour=$(sed -n '/<!-- tour -->/,/<!-- end of tour -->/p' "$here/../../README.md")
cp "$here"/*.toml "$room"
cd "$room"
sprayside() { "$program" "$@"; }

commands=$(grep '^sprayside ' <<<"$tour")
[ "$(wc -l <<<"$commands")" -ge 5 ] || { echo "the README has no tour"; exit 1; }
while read -r command; do
    code=0
    eval "$command" >told 2>&1 </dev/null || code=$?
    if [ "$code" -gt 1 ]; then
        cat told
        echo "$command ended with exit code $code"
        exit 1
    fi
    echo "$code  $command"
done <<<"$commands"

# CASE.NAME.png is NAME.png of the results of CASE, or lies here by that name.
for picture in $(grep -o 'demo-data/tour/[a-z_.-]*\.png' <<<"$tour" | sort -u); do
    name=$(basename "$picture")
    made="$name"
    [ -e "$made" ] || made="${name%%.*}.out/${name#*.}"
    [ -s "$made" ] || { echo "the commands of the tour do not make $name"; exit 1; }
    [ "$made" -ef "$into/$name" ] || cp "$made" "$into/$name"
done
