"""Where the static files are collected, and the list that says which file carries which hashed name."""

import os
import tempfile
from typing import Any

from django.core.files.storage import FileSystemStorage
from whitenoise.storage import CompressedManifestStaticFilesStorage


class _OneStep(FileSystemStorage):
    """Puts the list in the place of the one before in one step: who reads it meanwhile has one or the other."""

    def exists(self, name: str) -> bool:
        return False  # so that Django does not remove the old list before it writes the new one

    def _save(self, name: str, content: Any) -> str:
        descriptor, aside = tempfile.mkstemp(prefix=f".{name}-", dir=self.location)
        with os.fdopen(descriptor, "wb") as file:
            file.write(content.read())
        os.chmod(aside, 0o644)
        os.replace(aside, self.path(name))
        return name


class CollectedFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise has no types
    """Hashed and compressed files; their list is never missing nor half there."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.manifest_storage = _OneStep(location=self.location)
