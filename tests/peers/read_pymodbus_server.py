"""emberline reads and records units that pymodbus simulates on a pseudo-terminal."""

import asyncio
import multiprocessing
from contextlib import contextmanager

import bench
import kiln
from pymodbus import FramerType
from pymodbus.server import StartAsyncSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice


def device(unit):
    def registers(values):
        return [SimData(0, values=values, datatype=DataType.REGISTERS)]

    def bits(values):
        return [SimData(0, values=values, datatype=DataType.BITS)]

    tables = (bits(unit.coils), bits(unit.discrete), registers(unit.holding), registers(unit.input))
    return SimDevice(id=unit.number, simdata=tables)


def serve(port, units):
    # A pseudo-terminal has no parity bit to set.
    serving = StartAsyncSerialServer(
        [device(unit) for unit in units],
        framer=FramerType.RTU,
        port=str(port),
        baudrate=9600,
        parity="N",
    )
    asyncio.run(serving)


@contextmanager
def running(port, units=(kiln.TOP, kiln.BOTTOM), setup=kiln.SETUP):
    """The server on this port, answering what the setup reads once the block begins."""
    server = multiprocessing.Process(target=serve, args=(port, units), daemon=True)
    server.start()
    try:
        answers = lambda: bench.emberline("read", setup, *bench.AT_ONCE, cwd=port.parent)[0] == 0
        bench.wait_for("an answer", answers)
        yield
    finally:
        server.terminate()
        server.join()


def main():
    tally = bench.Tally()
    with bench.folder() as cwd, bench.wire(cwd / kiln.PORT, cwd / "far-end"):
        with running(cwd / "far-end"):
            kiln.check_read(tally, cwd, ["kiln-top", "kiln-bottom"])
            every = {"kiln-top": 0.5, "kiln-bottom": 1}
            kiln.check_record(tally, cwd, every, seconds=10)
    tally.close()


if __name__ == "__main__":
    main()
