"""What a benchmark ran on: printed above every figure."""

import os
import platform
from importlib.metadata import version


def describe(*packages: str) -> str:
    """Python, processor count, load and the versions of packages."""
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    versions = ", ".join(f"{name} {version(name)}" for name in packages)
    return f"Python {platform.python_version()} on {platform.machine()}, {os.cpu_count()} cores, load {load:.2f}; {versions}"
