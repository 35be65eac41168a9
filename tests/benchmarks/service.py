"""The service's time beside a bare route of the same framework, in one run; and its memory after many questions.

Run: ``python tests/benchmarks/service.py`` (about three minutes). Both apps run in one process behind one server, on
loopback; clients keep their connection. Columns: median and 99th percentile of a question in ms, questions a second,
and what of the server's processor a question takes: that alone does not depend on who else uses the machine.
"""

from __future__ import annotations

import http.client
import os
import random
import socket
import sys
import tempfile
import threading
import time
from pathlib import Path

TOP = Path(__file__).parents[2]
sys.path.insert(0, str(TOP))

PART = "ring 16x6x5"
LIMITS = "scalar <= 3 ms at the median, >= 400 a second, p99 <= 15 ms with 8 clients, <= 3 x hello, <= 150 MiB"


def serve(port: int, file: str) -> None:
    """Serve a store and the bare route until killed."""
    import uvicorn
    from starlette.responses import Response
    from starlette.routing import Route

    import matdb
    from matdb.service import application

    async def hello(_: object) -> Response:
        return Response('{"hello":"world"}', media_type="application/json")

    with matdb.open_store(file, as_fitted=True) as store:
        app = application(store)
        app.router.routes.append(Route("/hello", hello))
        uvicorn.run(app, host="127.0.0.1", port=port, log_level="warning", access_log=False)


def ask(port: int, count: int, path, times: list[float]) -> None:
    draw = random.Random(threading.get_ident())
    client = http.client.HTTPConnection("127.0.0.1", port)
    for _ in range(count):
        asked = path(draw)
        start = time.perf_counter()
        client.request("GET", asked)
        answer = client.getresponse()
        answer.read()
        times.append(time.perf_counter() - start)
        assert answer.status == 200, asked


def measured(port: int, clients: int, count: int, path) -> tuple[float, float, float]:
    """Median and 99th percentile in ms, and questions a second."""
    times: list[float] = []
    threads = [threading.Thread(target=ask, args=(port, count // clients, path, times)) for _ in range(clients)]
    start = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    took, times = time.perf_counter() - start, sorted(times)
    return 1e3 * times[len(times) // 2], 1e3 * times[int(0.99 * len(times))], len(times) / took


def scalar(draw: random.Random) -> str:
    t, f = draw.uniform(-20.0, 40.0), draw.uniform(5.0, 200.0)
    return f"/parts/{PART.replace(' ', '%20')}/stiffness?temperature_c={t:.2f}&frequency_hz={f:.2f}"


def memory_mib(pid: int) -> float:
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


def processor_s(pid: int) -> float:
    ticks = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[11:13]
    return sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    import subprocess

    import matdb

    many = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder, socket.socket() as free:
        file = str(Path(folder) / "bench.sqlite")
        with matdb.open_store(file) as store:
            store.add(matdb.Material(name="amber 40A", family="silicone", hardness="40 A"))
            store.add(matdb.Part(name=PART, material="amber 40A", form=matdb.Ring(16, 6, 5)))
            for t, f in ((-18.0, 60.0), (0.0, 45.0), (23.0, 38.0)):
                store.add(matdb.RingDown(part=PART, temperature_c=t, mass_kg=0.5, frequency_hz=f, log_decrement=0.4))
            store.fit("amber 40A")
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        free.close()
        process = subprocess.Popen([sys.executable, __file__, "--serve", str(port), file])
        try:
            for _ in range(600):
                with socket.socket() as tried:
                    if tried.connect_ex(("127.0.0.1", port)) == 0:
                        break
                time.sleep(0.1)
            measured(port, 1, 1000, scalar)
            print(f"limits: {LIMITS}")
            for clients in (1, 8):
                for name, path in (("hello", lambda _: "/hello"), ("scalar", scalar)):
                    used = processor_s(process.pid)
                    median, last, rate = measured(port, clients, 4000, path)
                    used = (processor_s(process.pid) - used) / 4.0
                    times = f"{median:7.2f} ms  p99 {last:7.2f} ms  {rate:7.0f} a second"
                    print(f"{clients} clients  {name:7} {times}  processor {used:5.2f} ms")
            before = memory_mib(process.pid)
            measured(port, 8, many, scalar)
            print(f"memory {before:.0f} MiB, after {many} more questions {memory_mib(process.pid):.0f} MiB")
        finally:
            process.terminate()


if __name__ == "__main__":
    if "--serve" in sys.argv:
        serve(int(sys.argv[2]), sys.argv[3])
    else:
        main()
