"""Somebody takes a program the instant that it appears in ready/: it is whole and guarded, with all beside it."""

import json
import multiprocessing
import time
from multiprocessing.synchronize import Event as Signal
from pathlib import Path
from typing import Any

from tests.watch.shop import Shop, guarded, patched, repaired, running, safe, wait_until


def read_at_once(ready: Path, caught: Any, stop: Signal) -> None:
    """Lists ready/ as fast as it can; of each program that is new, or another file, takes it and what is beside."""
    seen = set()
    taken = []
    while not stop.is_set():
        time.sleep(0.0005)  # what it reads takes longer to appear than this
        for path in ready.iterdir() if ready.is_dir() else ():
            if path.suffix != ".nc":
                continue
            try:
                inode = path.stat().st_ino
                if (path.name, inode) in seen:
                    continue
                program = path.read_bytes()
                beside = {end: (ready / f"{path.name}{end}").read_bytes() for end in (".diff", ".log.jsonl")}
                page = (ready / f"{path.name}.review.html").exists()
                # Withdrawn while it was read, the program first and then what is beside: no longer there to judge.
                page = page or not path.exists() or path.stat().st_ino != inode
            except FileNotFoundError as error:
                if path.exists() and path.stat().st_ino == inode:
                    taken.append((path.name, None, str(error), False))  # a program without what belongs to it
                continue
            seen.add((path.name, inode))
            taken.append((path.name, program, beside, page))
    caught.put(taken)


def test_a_polling_reader_never_sees_half_a_job(shop: Shop) -> None:
    context = multiprocessing.get_context("forkserver")
    caught, stop = context.Queue(), context.Event()
    reader = context.Process(target=read_at_once, args=(shop.ready, caught, stop))
    reader.start()
    versions: dict[str, list[bytes]] = {f"part {k}.nc": [repaired(k, cuts=50 * k)] for k in range(12)}
    with running(shop, settle=0.1) as watch:
        for name, data in versions.items():
            shop.drop(name, data[0])
        watch.until(lambda: {f"part {k}.nc" for k in range(5)} <= shop.names(shop.ready))
        for k in range(0, 12, 2):  # while the others are being done, half of them change
            data = safe(k) if k % 4 else repaired(100 + k)
            versions[f"part {k}.nc"].append(data)
            shop.drop(f"part {k}.nc", data)
        watch.until(lambda: all((shop.ready / name).is_file() and (shop.ready / name).read_bytes()
                                == guarded(data[-1], shop.setup)[1] for name, data in versions.items()))
        time.sleep(0.2)
    stop.set()
    taken = caught.get(timeout=20)
    wait_until(lambda: not reader.is_alive(), lambda: "the reader does not end")
    outputs = {name: {guarded(data, shop.setup)[1]: data for data in all_of} for name, all_of in versions.items()}
    assert {name for name, *_ in taken} == set(versions)
    assert len(taken) >= len(versions)
    for name, program, beside, page in taken:
        assert program is not None, f"{name}: {beside}"
        assert program in outputs[name], f"{name}: is not what the guard makes of any version"
        assert patched(outputs[name][program], beside[".diff"], shop.root) == program
        assert json.loads(beside[".log.jsonl"].splitlines()[-1])["exit"] == 0
        assert page
