"""What is dear to make and needed by several test processes: made once, by the first that asks."""

from __future__ import annotations

import fcntl
import os
import pickle
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any


class Shared(Mapping[str, Any]):
    """Values by name, each made when it is first asked for and kept in a file that other processes read.

    Parameters
    ----------
    folder : Path
        Where the files are kept; the processes of one test run name the same.
    names : tuple of str
    make : callable
        Makes the value of a name.
    """

    def __init__(self, folder: Path, names: tuple[str, ...], make: Callable[[str], Any]) -> None:
        self._folder, self._names, self._make = folder, names, make
        self._read: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._names:
            raise KeyError(name)
        if name not in self._read:
            self._read[name] = self._once(name)
        return self._read[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)

    def _once(self, name: str) -> Any:
        self._folder.mkdir(exist_ok=True)
        kept = self._folder / f"{name}.pickle"
        with (self._folder / f"{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if kept.exists():
                return pickle.loads(kept.read_bytes())  # noqa: S301  (written by this very test run)
            value = self._make(name)
            half = kept.with_suffix(f".{os.getpid()}")
            half.write_bytes(pickle.dumps(value))
            half.rename(kept)
            return value
