"""Photos of journal entries: pictures in a folder beside the database, rows in it.

A file goes by the SHA-256 of its bytes, so the same picture is kept once, and a name that came
from outside is never a path. Files are written before their rows and removed after them: what the
journal shows is always there.
"""

import hashlib
import os
import re
import threading
from collections.abc import Collection, Iterable
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from monitor.errors import Conflict, NotFound, StoreUnavailable
from monitor.setup.settings import PhotoSettings
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import journal, photos
from monitor.store.sqlite.state.photos import PhotoRow

_NAME = re.compile(r"[0-9a-f]{64}", re.ASCII)

_TURN = threading.Lock()
"""Nobody removes a file that someone else is about to refer to."""


class Copied(NamedTuple):
    """What became of photos that were copied: how many there are, and the names of damaged ones."""

    whole: int
    damaged: tuple[str, ...]


def folder_of(database: Path) -> Path:
    """The folder of the photos of a database file; a back-up has one of its own in the same way."""
    return database.with_name(f"{database.name}.photos")


def file_of(database: Path, name: str, *, thumbnail: bool = False) -> Path:
    """The file of a photo.

    Raises:
        NotFound: that can be no photo's name.
    """
    if not _NAME.fullmatch(name):
        raise NotFound(f"no photo {name!r}")
    return folder_of(database) / f"{name}{'.thumbnail' if thumbnail else ''}.jpg"


def add(
    database: Database, place: str, entry: int, data: bytes, settings: PhotoSettings, now_ms: int
) -> PhotoRow:
    """Keep a picture with an entry; adding it twice changes nothing.

    Raises:
        NotFound: there is no such entry.
        PictureError: it is no picture that can be kept.
        Conflict: the entry has all the photos it may have.
        StoreUnavailable: it cannot be written just now.
    """
    # Pillow takes time to load, and most daemons are never given a photo.
    from monitor.store.pictures import clean  # noqa: PLC0415

    _room_for_more(database, place, entry, settings)
    picture = clean(
        data,
        most_megapixels=settings.most_megapixels,
        longest_side_px=settings.longest_side_px,
    )
    name = hashlib.sha256(picture.jpeg).hexdigest()
    row = PhotoRow(name, entry, picture.width, picture.height, len(picture.jpeg), now_ms)
    with _TURN:
        _room_for_more(database, place, entry, settings)
        _write(file_of(database.path, name, thumbnail=True), picture.thumbnail)
        _write(file_of(database.path, name), picture.jpeg)
        with database.transaction() as connection:
            journal.get(connection, place, entry)
            photos.add(connection, row)
    return row


def remove(database: Database, place: str, entry: int, name: str) -> None:
    """Take a photo out of an entry, and off the disk if no other shows it.

    Raises:
        NotFound: the entry has no such photo.
    """
    with _TURN:
        with database.transaction() as connection:
            journal.get(connection, place, entry)
            photos.remove(connection, entry, name)
        _sweep(database, [name])


def remove_entry(database: Database, place: str, entry: int) -> None:
    """Take an entry out of the journal, with its photos.

    Raises:
        NotFound: there is no such entry.
    """
    with _TURN:
        with database.transaction() as connection:
            names = [row.name for row in photos.of(connection, [entry]).get(entry, ())]
            journal.remove(connection, place, entry)
        _sweep(database, names)


def copy(database: Path, target: Path, names: Collection[str]) -> Copied:
    """Copy photos from beside one database file to beside another; those there already stay.

    A file whose content is not what its name says is left out.

    Raises:
        StoreUnavailable: the target cannot be written.
    """
    whole = 0
    damaged: list[str] = []
    for name in sorted(names):
        source = file_of(database, name)
        try:
            data = source.read_bytes()
            thumbnail = file_of(database, name, thumbnail=True).read_bytes()
        except OSError:
            damaged.append(name)
            continue
        if hashlib.sha256(data).hexdigest() != name:
            damaged.append(name)
            continue
        _write(file_of(target, name, thumbnail=True), thumbnail)
        _write(file_of(target, name), data)
        whole += 1
    return Copied(whole, tuple(damaged))


def _room_for_more(database: Database, place: str, entry: int, settings: PhotoSettings) -> None:
    with database.reading() as connection:
        journal.get(connection, place, entry)
        there = len(photos.of(connection, [entry]).get(entry, ()))
    if there >= settings.most_per_entry:
        raise Conflict(
            f"entry {entry} has {there} photos; more than {settings.most_per_entry} are not kept "
            "(photos.most_per_entry)"
        )


def _sweep(database: Database, names: Iterable[str]) -> None:
    """Remove the files of photos that no entry shows any more."""
    with database.reading() as connection:
        still = photos.names(connection)
    for name in names:
        if name not in still:
            file_of(database.path, name).unlink(missing_ok=True)
            file_of(database.path, name, thumbnail=True).unlink(missing_ok=True)


def _write(path: Path, data: bytes) -> None:
    """Whole or not at all, and on the disk before anyone refers to it."""
    if path.exists():
        return
    unfinished = path.with_name(f"{path.name}.unfinished")
    try:
        path.parent.mkdir(mode=0o700, exist_ok=True)
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        unfinished.rename(path)
    except OSError as exc:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
        raise StoreUnavailable(f"{path}: cannot be written: {exc.strerror}") from exc
