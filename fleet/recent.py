"""What this process worked out last, so that a page looked at twice is worked out once."""

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import TypeVar

Value = TypeVar("Value")


class Recent(OrderedDict[Hashable, Value]):
    """At most so many values by what they were made from; the one longest unused goes first.

    >>> kept = Recent(2)
    >>> kept["a"], kept["b"] = 1, 2
    >>> kept["a"]
    1
    >>> kept["c"] = 3
    >>> list(kept)
    ['a', 'c']
    """

    def __init__(self, most: int) -> None:
        super().__init__()
        self.most = most
        self._one_at_a_time = threading.RLock()

    def __getitem__(self, key: Hashable) -> Value:
        with self._one_at_a_time:
            value = super().__getitem__(key)
            self.move_to_end(key)
        return value

    def __setitem__(self, key: Hashable, value: Value) -> None:
        with self._one_at_a_time:
            super().__setitem__(key, value)
            self.move_to_end(key)
            while len(self) > self.most:
                del self[next(iter(self))]
