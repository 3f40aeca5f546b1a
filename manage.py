#!/usr/bin/env python3
"""Run a management command."""

import os
import sys

# Commands that touch neither a database nor people, so they need no installation and no secret.
STANDALONE = ("forecast",)


def main() -> None:
    if sys.argv[1:2] and sys.argv[1] in STANDALONE:
        os.environ.setdefault("SHEENWARD_MODE", "test")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
