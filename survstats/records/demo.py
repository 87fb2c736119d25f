"""Where do the invented studies lie, and how does one get a copy to start from?"""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from survstats.groundwork.errors import CallError, PublishError

DEMO_NAMES = (
    "demo_small",
    "demo_main",
    "demo_null",
    "demo_survivor_only",
    "demo_harm",
    "demo_separation",
)
DIRTY_NAME = "demo_dirty"  # small studies that break one rule each, and their passing twins


def demo_folder(name: str) -> Path:
    """The folder of an invented study (or of the small broken ones), in the installed package or else in the checkout.

    Raises
    ------
    CallError
        ``unknown_demo`` for a name there is none of, ``no_demo`` where the folder was not installed.
    """
    known = (*DEMO_NAMES, DIRTY_NAME)
    if name not in known:
        raise CallError("unknown_demo", f"There is no invented study {name}.", f"Known: {', '.join(known)}.")
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "_demo" / name, package.parent / "data" / name):
        if folder.is_dir():
            return folder
    raise CallError("no_demo", f"The invented study {name} was not installed.", "Install the package again.")


def copy_demo(name: str, directory: Path | str) -> Path:
    """Copy an invented study into a new folder, whole or not at all; returns that folder.

    Raises
    ------
    CallError
        ``folder_exists`` where anything of that name is there already.
    PublishError
        ``cannot_write`` where the copy fails; nothing is left behind.
    """
    source, target = demo_folder(name), Path(directory)
    try:
        if target.exists():
            raise CallError(
                "folder_exists", f"{target} is there already.", "Name a folder that does not exist yet."
            )
        target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".survstats-demo-") as hidden:
            whole = Path(hidden) / "copy"
            shutil.copytree(source, whole)
            os.rename(whole, target)
    except OSError as error:
        raise PublishError(
            "cannot_write", f"{target} cannot be written.", "Choose a folder you may write in."
        ) from error
    return target
