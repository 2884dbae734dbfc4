"""Zipped archives of text files described by a meta.xml, as the Darwin Core text guide has them.

Nothing is unpacked to disk. Whatever could hurt is refused before a byte of it is unpacked: paths
that climb out, links, encrypted files, files that grow beyond measure, XML with a DOCTYPE.
"""

import io
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import PurePosixPath

from pipeline.errors import InputError
from pipeline.ingest.archive_meta import META, Entity, Limits, Metafile, read_metafile

_ENCRYPTED = 0x1
_UNIX_MODE_SHIFT = 16
_ENDINGS = frozenset({".zip", ".dwca"})
_ZIP_MARK = b"PK\x03\x04"
_SHAPES = frozenset({".shp", ".gpkg", ".geojson", ".fgb", ".gdb", ".kml"})
_REMEDY = "Export the archive again, or unpack it yourself and name the occurrence file."


class ArchiveError(InputError):
    """An archive that is not read, for what it is or for what it could do."""

    def __init__(self, where: str, found: str, expected: str, remedy: str = _REMEDY) -> None:
        """Say where, what was found, what was expected and what to do."""
        super().__init__(where=where, found=found, expected=expected, remedy=remedy)


@dataclass(frozen=True)
class Archive:
    """An archive that was looked at and found harmless.

    Parameters
    ----------
    meta : what its meta.xml says.
    folder : where in the archive the meta.xml lies.
    names : all files, in the archive's order.
    """

    zipped: zipfile.ZipFile
    meta: Metafile
    folder: PurePosixPath
    names: tuple[str, ...]
    where: str

    def parts(self, entity: Entity) -> list[bytes]:
        """The bytes of each file of an entity, as they lie in the archive.

        Raises
        ------
        InputError
            If a file that meta.xml names is not there or is damaged.
        """
        return [self._part(location) for location in entity.locations]

    def _part(self, location: str) -> bytes:
        name = location_in(self.folder, location, where=self.where)
        if name not in self.names:
            others = ", ".join(n for n in self.names if not n.endswith(META)) or "none"
            raise ArchiveError(
                self.where, f"no file {name!r}, which its {META} names; files there: {others}",
                "every file that meta.xml names",
            )  # fmt: skip
        return _unpacked(self.zipped, name, self.where)

    def unread(self, entities: tuple[Entity, ...]) -> tuple[str, ...]:
        """Files of the archive that none of these entities reads, without meta.xml."""
        read = {
            location_in(self.folder, location, where=self.where)
            for entity in entities
            for location in entity.locations
        }
        meta = (self.folder / META).as_posix()
        return tuple(n for n in self.names if n not in read and n != meta)


def is_archive(name: str, raw: bytes) -> bool:
    """Whether a file is an archive of texts: a zip with a meta.xml, or one without shapes.

    The name counts, because office programs pack their sheets the same way, with a meta.xml.
    """
    if PurePosixPath(name).suffix.lower() not in _ENDINGS or not raw.startswith(_ZIP_MARK):
        return False
    paths = [PurePosixPath(inside) for inside in _listed(raw)]
    described = any(path.name.lower() == META for path in paths)
    return described or not any(path.suffix.lower() in _SHAPES for path in paths)


def _listed(raw: bytes) -> list[str]:
    """Names in a zip, none where it is not one."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as zipped:
            return zipped.namelist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError, struct.error):
        return []


def opened(raw: bytes, *, limits: Limits, where: str) -> Archive:
    """The archive in these bytes, once every file of it was found harmless.

    Raises
    ------
    ArchiveError
        If it is damaged, dangerous, too large, or has not exactly one usable meta.xml.
    """
    with _clear_faults(where):
        zipped = zipfile.ZipFile(io.BytesIO(raw))
        files = zipped.infolist()
    _need_harmless(files, limits, where)
    names = tuple(file.filename for file in files if not file.is_dir())
    metas = [name for name in names if PurePosixPath(name).name.lower() == META]
    if len(metas) != 1:
        found = f"{len(metas)} files named {META}" if metas else f"no {META} in it"
        raise ArchiveError(where, found, f"exactly one {META}, which says what each file holds")
    size = zipped.getinfo(metas[0]).file_size
    if size > limits.most_meta_bytes:
        raise ArchiveError(
            where, f"a {META} of {size:,} bytes", f"at most {limits.most_meta_bytes:,.0f} bytes"
        )
    meta = read_metafile(
        _unpacked(zipped, metas[0], where), limits=limits, where=f"{where}, {META}"
    )
    return Archive(zipped, meta, PurePosixPath(metas[0]).parent, names, where)


def location_in(folder: PurePosixPath, location: str, *, where: str) -> str:
    """The name in the archive that a location of meta.xml means.

    Raises
    ------
    ArchiveError
        If it is an address in the web, or climbs out of the archive.
    """
    text = location.strip()
    if "://" in text:
        raise ArchiveError(
            where, f"a file {text!r} that lies in the web", "files within the archive",
            "Fetch the file yourself; this program asks no network.",
        )  # fmt: skip
    if not _stays_inside(text):
        raise ArchiveError(
            where, f"a path {text!r} that climbs out of the archive", "a path within it"
        )
    return (folder / PurePosixPath(text)).as_posix()


def _stays_inside(name: str) -> bool:
    """Whether a path is relative and never climbs, however it is written."""
    parts = name.replace("\\", "/").split("/")
    drive = len(parts[0]) > 1 and parts[0][1] == ":"
    return bool(name) and parts[0] != "" and not drive and ".." not in parts and "\0" not in name


def _need_harmless(files: list[zipfile.ZipInfo], limits: Limits, where: str) -> None:
    """Refuse by the directory alone.

    Raises
    ------
    ArchiveError
        If one file is dangerous, or all together are too large.
    """
    if len(files) > limits.most_files:
        raise ArchiveError(
            where, f"{len(files):,} files", f"at most {limits.most_files:,.0f} files"
        )
    seen: set[str] = set()
    for file in files:
        fault = _fault_of(file, limits)
        if fault is None and file.filename in seen:
            fault = f"two files named {file.filename!r}"
        if fault is not None:
            raise ArchiveError(where, fault, "plain files, each within the archive")
        seen.add(file.filename)
    total = sum(file.file_size for file in files)
    if total > limits.most_bytes:
        raise ArchiveError(
            where, f"{total:,} bytes when unpacked", f"at most {limits.most_bytes:,.0f} bytes"
        )


def _fault_of(file: zipfile.ZipInfo, limits: Limits) -> str | None:
    """What is wrong with one entry, None if nothing."""
    # The name as the archive writes it: the library turns some signs into others.
    if not (_stays_inside(file.filename) and _stays_inside(file.orig_filename)):
        return f"a path {file.orig_filename!r} that climbs out of the archive"
    if stat.S_ISLNK(file.external_attr >> _UNIX_MODE_SHIFT):
        return f"a link, {file.filename!r}"
    if file.flag_bits & _ENCRYPTED:
        return f"an encrypted file, {file.filename!r}"
    grown = file.file_size / max(file.compress_size, 1)
    if file.file_size > limits.ratio_free_bytes and grown > limits.most_ratio:
        return f"a file that grows {grown:,.0f} times when unpacked, {file.filename!r}"
    return None


def _unpacked(zipped: zipfile.ZipFile, name: str, where: str) -> bytes:
    """One file; the library stops at the size that the directory tells and checks its sum."""
    with _clear_faults(where):
        return zipped.read(name)


@contextmanager
def _clear_faults(where: str) -> Iterator[None]:
    """Every way in which a zip can be broken, as one clear fault.

    Raises
    ------
    ArchiveError
        If the archive is damaged or packed in a way that is not read.
    """
    try:
        yield
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OSError, ValueError,
            RuntimeError, struct.error) as fault:  # fmt: skip
        found = f"a damaged archive ({fault})"
        raise ArchiveError(where, found, "a zip archive that is whole") from fault
