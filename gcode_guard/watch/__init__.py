"""The drop folder: whatever lands in a folder comes out guarded in `ready/`, or in `held/` with the reason.

    from gcode_guard.watch import watch_folder
    status = watch_folder("exports", "bench.toml", once=True)

Nothing here trusts an event: events only say when to look. What is done follows from what lies in the folder, what the
ledger says should stand, and the setup; so a lost event, a kill or a power cut is made good at the next look.
"""

from gcode_guard.watch.folder import FolderGone, as_suffix
from gcode_guard.watch.lock import Locked
from gcode_guard.watch.watcher import watch_folder

__all__ = ["FolderGone", "Locked", "as_suffix", "watch_folder"]
