"""What the web server loads."""

import os

from django.core.wsgi import get_wsgi_application

# What is written holds people's names: for its owner's eyes only.
os.umask(0o077)
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
application = get_wsgi_application()
