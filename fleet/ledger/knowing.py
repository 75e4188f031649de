"""The record as it was known when an entry was written: typed rows made anew from the entries before it, in
memory.
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from copy import deepcopy

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.sqlite3.base import DatabaseWrapper

from fleet.ledger import kinds
from fleet.ledger.rebuilding import BATCH, said
from fleet.ledger.writing import project
from fleet.models.ledger import Entry


class Knowledge:
    """A database in memory that learns the ledger's entries in the order of recording; the record itself is
    only read.

    Attributes
    ----------
    last : int
        the id of the last entry that it has learnt.
    """

    def __init__(self) -> None:
        settings = deepcopy(connections[DEFAULT_DB_ALIAS].settings_dict)
        settings |= {"ENGINE": "django.db.backends.sqlite3", "NAME": ":memory:", "OPTIONS": {}}
        self._memory = DatabaseWrapper(settings, DEFAULT_DB_ALIAS)
        self.last = 0
        with self.known():
            with self._memory.schema_editor() as editor:
                for one in kinds.all_kinds():
                    if one.model:
                        editor.create_model(one.model)
            # Rows come as their entries say; what the ledger never pointed to is not for this copy to refuse.
            # The editor turns the checks on again when it ends, and people (beside the ledger) have no table
            # here.
            self._memory.disable_constraint_checking()

    @contextmanager
    def known(self) -> Iterator[None]:
        """Inside, every query of this thread asks what was known, not the record."""
        real: BaseDatabaseWrapper = connections[DEFAULT_DB_ALIAS]
        connections[DEFAULT_DB_ALIAS] = self._memory
        try:
            yield
        finally:
            connections[DEFAULT_DB_ALIAS] = real

    def learn(self, before: int) -> None:
        """Take in the entries that were written before the one of this id."""
        while True:
            rows = Entry.objects.filter(id__gt=self.last, id__lt=before).order_by("id")[:BATCH]
            some = list(rows.values_list("id", "text"))
            if not some:
                return
            with self.known():
                project([said(json.loads(text)) for _, text in some])
            self.last = some[-1][0]

    def close(self) -> None:
        """Forget everything."""
        if self._memory.connection:
            self._memory.connection.close()  # the wrapper's own close keeps a database in memory
            self._memory.connection = None
