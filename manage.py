#!/usr/bin/env python
"""The command line of the service."""

import os
import sys

from django.core.management import execute_from_command_line

if __name__ == "__main__":
    # Database, files and logs hold people's names: for their owner's eyes only. Children inherit it.
    os.umask(0o077)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    execute_from_command_line(sys.argv)
