"""What the database role of the site may do on PostgreSQL: everything with the tables of work, only read and
add with the ledger.
"""

import re

from django.db import connection

from fleet.ledger.guard import GUARDED

_NAME = re.compile(r"[a-z_][a-z0-9_]{0,62}")


def grants(role: str) -> list[str]:
    """The statements that give a role what the site needs and no more.

    Raises
    ------
    ValueError
        for a name that is none of PostgreSQL's plain names.
    """
    if not _NAME.fullmatch(role):
        raise ValueError(f"“{role}” is no plain name of a role; write small letters, digits and _.")
    guarded = [model._meta.db_table for model in GUARDED]
    work = [
        name for name in connection.introspection.table_names() if name not in {*guarded, "django_migrations"}
    ]
    quote = connection.ops.quote_name
    said = [f"GRANT USAGE ON SCHEMA public TO {role}"]
    said += [f"GRANT SELECT, INSERT ON {quote(name)} TO {role}" for name in guarded]
    said += [f"REVOKE UPDATE, DELETE, TRUNCATE ON {quote(name)} FROM {role}" for name in guarded]
    said += [f"GRANT SELECT, INSERT, UPDATE, DELETE ON {quote(name)} TO {role}" for name in sorted(work)]
    said.append(f"GRANT SELECT ON django_migrations TO {role}")
    said.append(f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {role}")
    return said
