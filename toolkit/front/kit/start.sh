#!/bin/sh
# Sets the course up beside this file, the first time, and opens it. No internet is needed.
cd -- "$(dirname -- "$0")" || exit 1
for python in python@PYTHON@ python3 python; do
  if [ "$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])' 2>/dev/null)" = "@PYTHON@" ]; then
    exec "$python" start.py "$@"
  fi
done
echo "Python @PYTHON@ was not found on this machine, and this kit was built for it: install it, then start this again." >&2
exit 2
