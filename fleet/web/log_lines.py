"""How lines of the audit log are written; loaded with the settings, before anything else of the site."""

import logging


class JsonLines(logging.Formatter):
    """Each message is JSON already; nothing is put before or behind it."""

    def format(self, record: logging.LogRecord) -> str:
        return record.getMessage()
