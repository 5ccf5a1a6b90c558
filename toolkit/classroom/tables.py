"""The signature tables of stations of one's own, in the data folder: where they are kept, and finding one again."""

from __future__ import annotations

import contextlib
import zipfile
from pathlib import Path

from toolkit.classroom.record import data_folder
from toolkit.diagnosis.own_station import own_station
from toolkit.diagnosis.signatures import VERSION, Signatures, file_end, shipped, unpacked
from toolkit.errors import ScenarioError
from toolkit.scenario import Station
from toolkit.station_file import StationFile


def user_folder() -> Path:
    """Where the tables of stations of one's own are kept."""
    return data_folder() / "tables"


def table_of(station: StationFile | Station, folder: Path | None = None) -> Signatures | None:
    """The table of a station, if one was made for it as it is now: from the folder, or of those that come along.

    `folder`: another than the data folder's. None where there is none, where the station has changed since, where it
    was made by another version of the course, or where no table can be made for it at all.
    """
    try:
        own = own_station(station)
    except ScenarioError:
        return None
    for path in sorted((folder or user_folder()).glob("*" + file_end(own))):
        # What cannot be read, or is no table, or none for these signs, is made anew like any that is not there.
        with contextlib.suppress(OSError, ValueError, KeyError, zipfile.BadZipFile, ScenarioError):
            found = unpacked(path.read_bytes(), own)
            if found.version == VERSION:
                return found
    with contextlib.suppress(ScenarioError):
        return shipped(own)
    return None
