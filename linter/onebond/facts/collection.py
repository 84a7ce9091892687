"""The descriptor behind the collections of facts: worked out once, when a rule asks first."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, TypeVar, overload

Subject = TypeVar("Subject")


class Collection(Generic[Subject]):
    """A property that is worked out once for each object; on the class it is itself, so that a rule can name it."""

    def __init__(self, work: Callable[[Any], tuple[Subject, ...]]) -> None:
        self.work = work
        self.name = work.__name__
        self.__doc__ = work.__doc__

    @overload
    def __get__(self, instance: None, owner: type) -> Collection[Subject]: ...

    @overload
    def __get__(self, instance: object, owner: type) -> tuple[Subject, ...]: ...

    def __get__(self, instance: object | None, owner: type) -> Collection[Subject] | tuple[Subject, ...]:
        if instance is None:
            return self
        found = self.work(instance)
        instance.__dict__[self.name] = found
        return found
