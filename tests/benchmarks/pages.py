"""Ask the pages 50 times a second for a minute, of a book of 100,000 observations, and say how long they took.

Run it as ``python tests/benchmarks/pages.py [SECONDS]``. The server is ``crosscompat serve`` in a process of its
own; the peer is the style sheet, for which nothing is read, asked in turn with the others.
"""

from __future__ import annotations

import http.client
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from book_speed import fill

from crosscompat.collection.create import create_collection
from crosscompat.collection.settings import FILE_NAME, open_book, read_settings

A_SECOND, PORT = 50, 8099
PAGES = (
    "/", "/pollinate", "/pollinate?seed=P1", "/look", "/crosses", "/plants", "/ask?seed=coccineus&pollen=fendleri",
    "/tree?species=coccineus", "/static/pages.css",
)  # fmt: skip


def asked(path: str) -> tuple[int, float]:
    """Return the status of a page and the seconds that it took."""
    begun = time.perf_counter()
    connection = http.client.HTTPConnection("127.0.0.1", PORT, timeout=60)
    connection.request("GET", path)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer.status, time.perf_counter() - begun


def main() -> None:
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        create_collection(folder)
        with open_book(folder, read_settings(folder / FILE_NAME)) as store:
            fill(store)
        command = [sys.executable, "-m", "crosscompat", "serve", "--port", str(PORT), "--collection", place]
        with subprocess.Popen(command, stdout=subprocess.DEVNULL) as server:
            time.sleep(3)
            for path in PAGES:
                print(f"{path:40} first {asked(path)[1]:6.2f} s")  # noqa: T201
            measured(seconds)
            server.terminate()


def measured(seconds: int) -> None:
    """Ask in time, whether or not the answers keep up, and print what came of it."""
    answers: list[tuple[str, int, float]] = []

    def one(path: str) -> None:
        answers.append((path, *asked(path)))

    begun, threads = time.perf_counter(), []
    for n in range(A_SECOND * seconds):
        time.sleep(max(0.0, begun + n / A_SECOND - time.perf_counter()))
        threads.append(threading.Thread(target=one, args=(PAGES[n % len(PAGES)],)))
        threads[-1].start()
    for thread in threads:
        thread.join()
    wrong = [answer for answer in answers if answer[1] != 200]
    for path in PAGES:
        print(f"{path:40} median {1000 * statistics.median(t for p, _, t in answers if p == path):6.1f} ms")  # noqa: T201
    times = sorted(t for *_, t in answers)
    print(f"{len(answers)} asked, {len(wrong)} errors, median {1000 * statistics.median(times):.1f} ms, "  # noqa: T201
          f"95% within {1000 * times[int(0.95 * len(times))]:.1f} ms")  # fmt: skip


if __name__ == "__main__":
    main()
