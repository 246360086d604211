"""emberline reads and records units that pymodbus simulates on a pseudo-terminal."""

import asyncio
import multiprocessing

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


def serve(port):
    # A pseudo-terminal has no parity bit to set.
    serving = StartAsyncSerialServer(
        [device(kiln.TOP), device(kiln.BOTTOM)],
        framer=FramerType.RTU,
        port=str(port),
        baudrate=9600,
        parity="N",
    )
    asyncio.run(serving)


def main():
    tally = bench.Tally()
    with bench.folder() as cwd, bench.wire(cwd / kiln.PORT, cwd / "far-end"):
        server = multiprocessing.Process(target=serve, args=(cwd / "far-end",), daemon=True)
        server.start()
        try:
            bench.wait_for("an answer", lambda: bench.emberline("read", kiln.SETUP, cwd=cwd)[0] == 0)
            kiln.check_read(tally, cwd, ["kiln-top", "kiln-bottom"])
            every = {"kiln-top": 0.5, "kiln-bottom": 1}
            kiln.check_record(tally, cwd, every, seconds=10)
        finally:
            server.terminate()
            server.join()
    tally.close()


if __name__ == "__main__":
    main()
