"""Whether a killed run ever leaves a mixture: kills ``find`` and ``review`` at many moments and looks at what is left.

    python -m benchmarks.kill_points --count 200

A place holds an old result. A child of this process, in which everything is loaded, makes another one there and is
killed: in its whole run at random moments, in its writing at random moments and in front of what it does with
files (opens, renames, removes; the last twelve of these always). What stands in the place afterwards has to be the old
result or the new one, byte for byte; beside it may lie only what a later run takes away, and that has to succeed.
Linux and macOS.
"""

import argparse
import hashlib
import os
import random
import shutil
import signal
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchmarks.corner import write_corner

Work = Callable[[Path], None]
_LEFT = ".corridor-"
_ALWAYS = 12  # of the last file events of a run: putting in place and taking away
_EVENTS = {"open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.truncate", "shutil.rmtree", "ctypes.dlopen"}


@dataclass(frozen=True)
class Target:
    """What is killed: its work, in two versions whose results differ, and the name of the place it writes."""

    name: str
    place: str
    old: Work
    new: Work
    by_event: bool = False


def tree(path: Path) -> str:
    """Return a hash of a file, or of all files of a folder with their names; empty if there is nothing."""
    if not path.exists():
        return ""
    digest = hashlib.sha256()
    for part in sorted(p for p in [path, *path.rglob("*")] if p.is_file()):
        digest.update(f"{part.relative_to(path)}\0".encode() + hashlib.sha256(part.read_bytes()).digest())
    return digest.hexdigest()


def in_child(
    work: Work, folder: Path, *, kill_after_s: float | None = None, kill_at: int | None = None
) -> tuple[int, float]:
    """Run work in a child of this process, killed after a time or in front of a file event; return code and time.

    The time is the processor's, so that other work on the machine doesn't move the moment. The timer's own signal is
    not handled: like SIGKILL it ends the process where it stands.
    """
    child = os.fork()
    if child == 0:
        code = 1
        try:
            if kill_at is not None:
                _count_events(lambda count: count == kill_at and os.kill(os.getpid(), signal.SIGKILL))
            if kill_after_s is not None:
                signal.setitimer(signal.ITIMER_PROF, max(kill_after_s, 1e-3))
            work(folder)
            code = 0
        finally:
            os._exit(code)
    _, status, used = os.wait4(child, 0)
    return os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime


def whole(work: Work, folder: Path) -> float:
    """Run work in a child that nobody kills; return how long it took."""
    code, time_s = in_child(work, folder)
    if code != 0:
        sys.exit(f"the work to be killed failed by itself: exit code {code}")
    return time_s


def put_back(saved: Path, place: Path) -> None:
    """Write a saved result into its place again, as the next run would: what the killed one left is taken away."""
    from corridor.report.place import whole_file, whole_folder  # noqa: PLC0415 - loaded when threads are set

    if saved.is_file():
        with whole_file(place) as made:
            shutil.copy(saved, made)
    else:
        with whole_folder(place) as made:
            shutil.copytree(saved, made, dirs_exist_ok=True)


def events(work: Work, folder: Path) -> int:
    """Return how many times work does something with a file."""
    read, write = os.pipe()

    def counted(place: Path) -> None:
        seen = [0]
        _count_events(lambda count: seen.__setitem__(0, count))
        work(place)
        os.write(write, str(seen[0]).encode())

    whole(counted, folder)
    return int(os.read(read, 20))


def _count_events(told: Callable[[int], object]) -> None:
    """Call a function with the number of each file event of this process, before it takes effect."""
    seen = [0]

    def hook(event: str, _: object) -> None:
        if event in _EVENTS:
            seen[0] += 1
            told(seen[0])

    sys.addaudithook(hook)


def kill_at_many(target: Target, folder: Path, count: int, draw: random.Random) -> dict[str, int]:
    """Kill a target so many times, and count what was left: the old result, the new one, a mixture, in the way."""
    folder.mkdir()
    place = folder / target.place
    whole(target.new, folder)
    length_s = whole(target.new, folder)
    last = events(target.new, folder) if target.by_event else 0
    new = tree(place)
    whole(target.old, folder)
    old = tree(place)
    saved = folder.with_name(f"{folder.name}-{target.place}")
    (shutil.copy if place.is_file() else shutil.copytree)(place, saved)
    if "" in (old, new) or old == new:
        sys.exit(f"{target.name}: the two results must be there and differ")
    kills: list[dict[str, Any]] = [{"kill_after_s": draw.uniform(0.0, 1.05) * length_s} for _ in range(count)]
    if target.by_event:
        every = [*range(last, max(last - _ALWAYS, 0), -1), *draw.sample(range(1, last), k=min(count, last - 1))]
        kills[count // 2 :] = [{"kill_at": number} for number in every[: count - count // 2]]
    counts = {"old": 0, "new": 0, "mixed": 0, "left beside": 0, "in the way": 0}
    for kill in kills:
        in_child(target.new, folder, **kill)
        seen = tree(place)
        counts["old" if seen == old else "new" if seen == new else "mixed"] += 1
        beside = [item.name for item in folder.iterdir() if item.name != target.place]
        counts["left beside"] += bool(beside)
        counts["in the way"] += any(not name.startswith(_LEFT) for name in beside)
        put_back(saved, place)
        counts["in the way"] += [item.name for item in folder.iterdir()] != [target.place] or tree(place) != old
    return counts


def targets(folder: Path) -> list[Target]:
    """Return whole runs of ``find`` and ``review``, and the writing of each by itself."""
    records, settings, equipment = (str(path) for path in write_corner(folder))
    other = folder / "other.toml"
    other.write_text(
        Path(settings).read_text(encoding="utf-8") + "\n[couplings]\nmin_length_m = 9.0\n", encoding="utf-8"
    )
    read = [records, "--quiet", "--settings"]

    def program(*arguments: str) -> Work:
        from corridor.commands.main import cli  # noqa: PLC0415 - below, with all that is loaded

        def work(place: Path) -> None:
            os.chdir(place)
            cli([*arguments], standalone_mode=False)

        return work

    def writing(command: str, chosen: str) -> Work:
        write = _writer(command, records, chosen, equipment)
        return lambda place: write(place / {"find": "f.gpkg", "review": "out"}[command])

    desk = ("--equipment", equipment, "-o", "out")
    writes = {command: (writing(command, settings), writing(command, str(other))) for command in ("find", "review")}
    return [
        Target("find, whole run", "f.gpkg", writes["find"][0], program("find", *read, str(other), "-o", "f.gpkg")),
        Target("find, writing", "f.gpkg", *writes["find"], by_event=True),
        Target("review, whole run", "out", writes["review"][0], program("review", *read, str(other), *desk)),
        Target("review, writing", "out", *writes["review"], by_event=True),
    ]


def _writer(command: str, records: str, settings: str, equipment: str) -> Callable[[Path], Any]:
    """Work everything out in this process, and return what writes it."""
    import corridor  # noqa: PLC0415 - loaded when the number of threads is set
    from corridor.report.receipt import make_receipt, receipt_metadata  # noqa: PLC0415

    chosen = corridor.load_settings(settings)
    site = corridor.read_site(records, settings=chosen)
    if command == "review":
        review = corridor.review_site(site, equipment=corridor.load_equipment(equipment), settings=chosen)
        return lambda place: corridor.write_review(review, place)
    found = corridor.find_couplings(site, settings=chosen)
    tables = {name: getattr(found, name) for name in ("parallel_runs", "crossings", "bonds_found")}
    metadata = receipt_metadata(make_receipt(site, command="find", settings=chosen))
    return lambda place: corridor.write_results(place, tables, metadata=metadata)


def main(arguments: Sequence[str] | None = None) -> int:
    """Kill, look and tell; return how many mixtures there were."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200, help="kills, shared out among the four kinds")
    parser.add_argument("--seed", type=int, default=0, help="of the moments")
    asked = parser.parse_args(arguments)
    # a process whose compiled loops or BLAS run on threads can't be forked in the middle of them
    os.environ |= dict.fromkeys(("NUMBA_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1")
    os.environ["NUMBA_THREADING_LAYER"] = "workqueue"
    draw = random.Random(asked.seed)
    mixed = done = 0
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        kinds = targets(folder)
        for number, target in enumerate(kinds):
            count = asked.count // len(kinds) + (number < asked.count % len(kinds))
            counts = kill_at_many(target, folder / str(number), count, draw)
            print(f"{target.name}: {count} kills: {', '.join(f'{n} {what}' for what, n in counts.items())}", flush=True)
            mixed += counts["mixed"] + counts["in the way"]
            done += count
    print(f"{done} kill points, {mixed} mixed")
    return mixed


if __name__ == "__main__":
    sys.exit(1 if main() else 0)
