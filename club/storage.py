"""Where style sheets and scripts are served from."""

from __future__ import annotations

from whitenoise.storage import CompressedManifestStaticFilesStorage


class CollectedIfThere(CompressedManifestStaticFilesStorage):
    """Compressed files under names that change with their content, once ``collectstatic`` has run.

    Before that, as on a laptop that was just set up, plain names: WhiteNoise finds those in the apps.
    """

    def stored_name(self, name: str) -> str:
        return super().stored_name(name) if self.hashed_files else name
