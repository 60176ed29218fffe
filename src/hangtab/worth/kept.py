"""A property worked out once per object.

Promises what `functools.cached_property` does, without its lock, which before Python 3.12 all objects of a class share:
two places of one fit in the same process (together.py) wait for each other inside such a property.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, TypeVar, overload

V = TypeVar("V")


class kept(Generic[V]):  # noqa: N801 - used like a function
    """Keep the first value of a method in the object's own dictionary."""

    def __init__(self, function: Callable[[Any], V]) -> None:
        """Take the method's name and words."""
        self._function = function
        self._name = function.__name__
        self.__doc__ = function.__doc__

    @overload
    def __get__(self, instance: None, owner: type) -> kept[V]: ...
    @overload
    def __get__(self, instance: object, owner: type | None = None) -> V: ...
    def __get__(self, instance: object | None, owner: type | None = None) -> kept[V] | V:
        """The value, worked out when first asked for."""
        if instance is None:
            return self
        value = self._function(instance)
        instance.__dict__[self._name] = value
        return value
