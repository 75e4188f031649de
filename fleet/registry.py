"""What the apps add when they are ready, so that a lower room serves what a higher one brings and imports
none of it. One pattern for all of them: by name, where a name means one thing, or each once in order.
"""

from typing import TypeVar

T = TypeVar("T")


class ByName(dict[str, T]):
    """Things by name. `what` is one of them, in words, for the sentences of a refusal.

    >>> colours = ByName[int]("colour")
    >>> colours.add("red", 3)
    >>> colours["blue"]
    Traceback (most recent call last):
    LookupError: no colour is called 'blue'; known are: red
    >>> colours.add("red", 4)
    Traceback (most recent call last):
    ValueError: the colour 'red' is registered already; choose another word
    """

    def __init__(self, what: str) -> None:
        super().__init__()
        self.what = what

    def add(self, name: str, thing: T) -> None:
        """Make it known; the same again changes nothing.

        Raises
        ------
        ValueError
            for a name that means another thing already.
        """
        if self.setdefault(name, thing) != thing:
            raise ValueError(f"the {self.what} '{name}' is registered already; choose another word")

    def __missing__(self, name: str) -> T:
        raise LookupError(f"no {self.what} is called '{name}'; known are: {', '.join(sorted(self))}")


class InOrder(list[T]):
    """Things in the order in which they were added, each once.

    >>> steps = InOrder([1, 2])
    >>> steps.add(2)
    >>> steps
    [1, 2]
    """

    def add(self, *things: T) -> None:
        """Add those that are not there yet."""
        self.extend(thing for thing in dict.fromkeys(things) if thing not in self)
