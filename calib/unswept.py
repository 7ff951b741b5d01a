"""Making many values that live on: the sweep for what is no longer reached would look at all of them again and again."""

import functools
import gc
from collections.abc import Callable
from typing import ParamSpec, TypeVar

_Arguments = ParamSpec("_Arguments")
_Made = TypeVar("_Made")


def unswept(make: Callable[_Arguments, _Made]) -> Callable[_Arguments, _Made]:
    """A function that makes values without a sweep meanwhile: half the time for ten thousand readings. No value may form a ring."""

    @functools.wraps(make)
    def made(*args: _Arguments.args, **kwargs: _Arguments.kwargs) -> _Made:
        if not gc.isenabled():
            return make(*args, **kwargs)
        gc.disable()
        try:
            return make(*args, **kwargs)
        finally:
            gc.enable()

    return made
