"""What the demo does beyond its sheets, so that a visitor finds it done: each app registers its acts in
ready().
"""

from collections.abc import Callable

# An act does its part once, whoever runs it again, and says in a sentence what is there.
Act = Callable[[], str]
_ACTS: list[Act] = []


def register(act: Act) -> None:
    """Add an act to what the demo does after its sheets are in."""
    if act not in _ACTS:
        _ACTS.append(act)


def act_all() -> list[str]:
    """Do every act; gives their sentences."""
    return [act() for act in _ACTS]
