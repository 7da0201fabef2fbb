"""Writes the archive format that the kernel unpacks as its first file system.

Format 'newc' as in the kernel's Documentation/driver-api/early-userspace/buffer-format.rst.
"""

from pathlib import PurePosixPath


class Archive:
    """Files and folders, all root's, in the order they are added."""

    def __init__(self):
        self._parts = []
        self._folders = set()
        self._number = 0

    def folder(self, path):
        """A folder and those above it."""
        for part in [*reversed(PurePosixPath(path).parents), PurePosixPath(path)]:
            name = str(part)
            if name not in (".", "/") and name not in self._folders:
                self._folders.add(name)
                self._entry(name, 0o40755, b"")

    def file(self, path, data, executable=False):
        """A file, its folders made as needed."""
        path = str(path).lstrip("/")
        self.folder(str(PurePosixPath(path).parent))
        self._entry(path, 0o100755 if executable else 0o100644, data)

    def node(self, path, major, minor):
        """A character device."""
        self.folder(str(PurePosixPath(path).parent))
        self._entry(path, 0o20600, b"", (major, minor))

    def bytes(self):
        """The whole archive."""
        return b"".join(self._parts) + self._packed("TRAILER!!!", 0, b"", (0, 0))

    def _entry(self, name, mode, data, device=(0, 0)):
        self._number += 1
        self._parts.append(self._packed(name, mode, data, device))

    def _packed(self, name, mode, data, device):
        encoded = name.encode() + b"\0"
        fields = [self._number, mode, 0, 0, 1, 0, len(data), 0, 0, *device, len(encoded), 0]
        head = b"070701" + b"".join(b"%08X" % field for field in fields) + encoded
        return head + b"\0" * (-len(head) % 4) + data + b"\0" * (-len(data) % 4)
