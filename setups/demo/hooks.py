"""What the demo tells whoever keeps more about its members than the library does.

``moved_in`` comes after everything is stored, ``leaving`` before anything is taken out; both within the
transaction, both with ``members``, a queryset of the demo's own. ``moved_in`` also has ``say``, which prints.
"""

from __future__ import annotations

from django.dispatch import Signal

moved_in = Signal()
leaving = Signal()
