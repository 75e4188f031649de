"""What the demo does beyond its sheets, so that a visitor finds it done: each app registers its acts in
ready().
"""

from collections.abc import Callable

from fleet.registry import InOrder

# An act does its part once, whoever runs it again, and says in a sentence what is there.
Act = Callable[[], str]
ACTS = InOrder[Act]()


def act_all() -> list[str]:
    """Do every act; gives their sentences."""
    return [act() for act in ACTS]
