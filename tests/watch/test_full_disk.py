"""A full disk: nothing half, nothing lost, and the work goes on once there is room."""

import os
import resource
import signal
import subprocess
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.watch.shop import LOADED, Running, Shop, repaired, running, watch_in_group

SIZE = 1024 * 1024  # bytes of the small disk


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A folder on a disk of its own, of 1 MB; where none may be mounted, in which no file may pass a limit instead."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(place)], capture_output=True,
                             text=True)
    if mounted.returncode == 0:
        yield place
        subprocess.run(["umount", "--lazy", str(place)], check=True)
        return
    warnings.warn(f"no small disk can be mounted here ({mounted.stderr.strip()}): the other test of this file, with a"
                  " limit on the size of files, stands in for it", stacklevel=1)
    yield tmp_path


def test_a_full_disk(small_disk: Path, shop: Shop) -> None:
    if not os.path.ismount(small_disk):
        fails_and_goes_on_by_limit(shop)
        return
    shop.folder = small_disk / "drop"
    shop.folder.mkdir()
    with running(shop) as watch:
        shop.drop("first.nc", repaired(1))
        watch.until(lambda: "first.nc" in shop.names(shop.ready))
        big = repaired(2, cuts=3000)
        shop.drop("big.nc", big)
        ballast = small_disk / "ballast"
        fill_up(ballast)
        watch.until_said("!! big.nc: no space left on device")
        assert not {name for name in shop.names(shop.ready) | shop.names(shop.held) if "big" in name}
        assert (shop.folder / "big.nc").read_bytes() == big
        shop.check("first.nc", repaired(1), 0)  # what stood, stands
        assert watch.status() is None
        ballast.unlink()
        watch.until(lambda: "big.nc" in shop.names(shop.ready))
        shop.check("big.nc", big, 0)
    shop.check_nothing_else({"first.nc", "big.nc"})


def fill_up(path: Path) -> None:
    """Writes until nothing more goes."""
    with open(path, "wb", buffering=0) as file:
        for size in (4096, 1):
            try:
                while True:
                    file.write(b"x" * size)
            except OSError:
                continue


def test_a_full_disk_at_the_start_is_said_and_nothing_is_lost(small_disk: Path, shop: Shop) -> None:
    if not os.path.ismount(small_disk):
        fails_and_goes_on_by_limit(shop)
        return
    shop.folder = small_disk / "drop"
    shop.folder.mkdir()
    shop.drop("leg.nc", repaired(1))
    fill_up(small_disk / "ballast")
    watch = Running(shop, "--once", settle=0.1, command=True)
    assert watch.status(20) == 2
    assert "full" in watch.said or "space" in watch.said
    assert "Traceback" not in watch.said
    (small_disk / "ballast").unlink()
    assert shop.once()[0] == 0
    shop.check("leg.nc", repaired(1), 0)


def limited(shop: Shop, log: Path) -> None:
    """A watch that cannot write files of more than 48 KB (setrlimit(2))."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (48 * 1024, 48 * 1024))
    watch_in_group(shop, 0.05, log, once=True)


def fails_and_goes_on_by_limit(shop: Shop) -> None:
    big = repaired(2, cuts=7_000)
    assert len(big) > 48 * 1024
    shop.drop("big.nc", big)
    shop.drop("leg.nc", repaired(1))
    watch = LOADED.Process(target=limited, args=(shop, shop.root / "said"))
    watch.start()
    watch.join(40)
    assert watch.exitcode == 2
    told = [line for line in (shop.root / "said").read_text().splitlines() if "!! big.nc: " in line]
    assert "cannot hold the program back" in told[0] and "File too large" in told[0]
    shop.check("leg.nc", repaired(1), 0)
    shop.check_nothing_else({"leg.nc"})
    assert (shop.folder / "big.nc").read_bytes() == big
    assert shop.once()[0] == 0
    shop.check("big.nc", big, 0)


def test_files_that_do_not_go_in(shop: Shop) -> None:
    fails_and_goes_on_by_limit(shop)
