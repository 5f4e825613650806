"""Coverage-guided fuzzing: ``python tests/fuzz/fuzz.py TARGET SECONDS [FOLDER]``, in an environment with atheris.

The targets are in `targets.py`. What has reached anything new is kept in FOLDER, by default that for temporary files,
in ``corpus-TARGET``. Beside it, in ``found-TARGET``, is the first file that made something else than a refusal of ours
come out at each place of the code, or that took more than five seconds; once mended, such a file belongs in
``cases/TARGET``, which the test suite runs through.
"""

from __future__ import annotations

import json
import random
import signal
import sys
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))
_ODD = (None, True, -1, 0, 1, 2, 1e308, -1e-308, 0.5, 10**30, "", "a", "set", "NaN", [], {}, [[]], [1, 2], {"a": 1})


def altered(data: bytes, size: int, seed: int) -> bytes:
    """Put an odd value in some place of a JSON document, or take one out; else alter bytes."""
    import atheris

    chance = random.Random(seed)
    try:
        document = json.loads(data)
        place, key = None, None
        inner = document
        while isinstance(inner, dict | list) and inner and (place is None or chance.random() < 0.8):
            place, key = inner, chance.choice([*inner] if isinstance(inner, dict) else range(len(inner)))
            inner = inner[key]
        if place is None or chance.random() < 0.1:
            return atheris.Mutate(data, size)
        if chance.random() < 0.2:
            del place[key]
        elif isinstance(place, list) and chance.random() < 0.2:
            place.insert(key, chance.choice(place))
        else:
            place[key] = chance.choice(_ODD)
        return json.dumps(document).encode()[:size]
    except (ValueError, RecursionError):
        return atheris.Mutate(data, size)


class Hang(BaseException):
    """Something took longer than five seconds of processor time."""


def _hang(*_) -> None:
    raise Hang


def kept(function: Callable[[bytes], None], place: Path) -> Callable[[bytes], None]:
    """Return a target that keeps the first input which fails at each place of the code, and goes on."""
    signal.signal(signal.SIGVTALRM, _hang)

    def run(data: bytes) -> None:
        signal.setitimer(signal.ITIMER_VIRTUAL, 5)
        try:
            function(data)
        except (Exception, Hang) as error:  # noqa: BLE001 - this is what is looked for
            frame = traceback.extract_tb(error.__traceback__)[-1]
            name = f"{type(error).__name__}-{Path(frame.filename).stem}-{frame.lineno}"
            if not (place / name).exists():
                place.mkdir(exist_ok=True)
                (place / name).write_bytes(data)
                (place / f"{name}.txt").write_text("".join(traceback.format_exception(error)), encoding="utf-8")
        finally:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0)

    return run


def main(target: str, seconds: str, folder: str = "") -> None:
    """Fuzz one target for so long."""
    import atheris

    with atheris.instrument_imports(include=["crosscompat", "dendropy", "Bio", "tomllib", "targets"]):
        from seeds import seeds
        from targets import TARGETS
    top = Path(folder or tempfile.gettempdir())
    place, found = top / f"corpus-{target}", top / f"found-{target}"
    place.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(seeds(target)):
        (place / f"seed-{number}").write_bytes(seed)
    options = [f"-max_total_time={seconds}", "-timeout=60", "-max_len=40000", "-rss_limit_mb=4000"]
    mutator = {"custom_mutator": altered} if target == "saved_model" else {}
    atheris.Setup([target, *options, str(place)], kept(TARGETS[target], found), **mutator)
    atheris.Fuzz()


if __name__ == "__main__":
    main(*sys.argv[1:])
