"""What the demo tells whoever keeps more about its members than the library does.

``moving_in`` comes when members, bodies and parts are stored and before the setups are: a receiver may
answer with a function that gives the key of the race class that a body is raced in. ``moved_in`` comes
after everything is stored, ``leaving`` before anything is taken out. All come within the transaction, with
``members``, a queryset of the demo's own; the first two also with ``say``, which prints.
"""

from __future__ import annotations

from django.dispatch import Signal

moving_in = Signal()
moved_in = Signal()
leaving = Signal()
