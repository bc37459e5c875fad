"""What a web server runs."""

import os
from importlib import import_module

from django.conf import settings
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
application = get_wsgi_application()
# Every view is loaded before the first visitor comes, and once for all workers where they are forked later.
import_module(settings.ROOT_URLCONF)
