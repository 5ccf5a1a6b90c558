#!/bin/sh
# Opens the lessons to a class; "sh start-class.sh --network" lets the other devices in the room come in.
exec sh "$(dirname -- "$0")/start.sh" serve "$@"
