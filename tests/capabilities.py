"""Take root's right to write everywhere away for a while, so that a read-only folder is one for root too (Linux)."""

import ctypes
import os
import sys
from contextlib import contextmanager

_VERSION_3 = 0x20080522  # of the kernel's header, for 64 capabilities
_OVERRIDES = 1 << 1 | 1 << 2  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH


class _Header(ctypes.Structure):
    _fields_ = (("version", ctypes.c_uint32), ("pid", ctypes.c_int))


class _Half(ctypes.Structure):
    _fields_ = (("effective", ctypes.c_uint32), ("permitted", ctypes.c_uint32), ("inheritable", ctypes.c_uint32))


@contextmanager
def permissions_hold():
    """A block in which the permissions of files hold for whoever runs the tests."""
    if sys.platform != "linux" or os.geteuid() != 0:
        yield
        return
    libc, header, now = ctypes.CDLL(None, use_errno=True), _Header(_VERSION_3, 0), (_Half * 2)()
    assert libc.capget(ctypes.byref(header), now) == 0, os.strerror(ctypes.get_errno())
    before = now[0].effective
    now[0].effective = before & ~_OVERRIDES
    assert libc.capset(ctypes.byref(header), now) == 0, os.strerror(ctypes.get_errno())
    try:
        yield
    finally:
        now[0].effective = before
        assert libc.capset(ctypes.byref(header), now) == 0, os.strerror(ctypes.get_errno())
