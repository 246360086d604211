"""What an independent client must find in mock-device, whichever library it is made with.

A client has `read(table, address, count)`, `write(table, address, value)` (functions 05 and 06) and
`write_many(table, address, values)` (functions 15 and 16), and raises `Refused` on an exception.
"""

import re

import bench
from pymodbus.client.mixin import ModbusClientMixin

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_VALUE, DEVICE_FAILURE = 1, 2, 3, 4

# So slow that nothing moves while the panel and the registers are compared.
STILL = ["--speed", "0.01"]
LAYOUTS = ["annealer", "floats"]


class Refused(Exception):
    """The unit answered with this exception code."""

    def __init__(self, code):
        super().__init__(f"exception {code:02X}")
        self.code = code


def refusal(ask, *what):
    """The exception code of a request that should be refused; `None` if it was not."""
    try:
        ask(*what)
    except Refused as refused:
        return refused.code
    return None


def panel(device):
    """What the panel of unit 1 shows: pv, setpoint, output, band, integral, derivative."""
    shown = device.type("unit 1 show", "unit 1 at")
    pattern = (
        r"pv (\S+) degC, sp (\S+) degC, out (\S+) %, automatic, "
        r"band (\S+) degC integral (\S+) s derivative (\S+) s"
    )
    return [float(number) for number in re.search(pattern, shown).groups()]


def check(tally, how, layout, device, client):
    """Everything about one layout on one kind of wire."""
    what = f"{layout} by {how}"
    {"annealer": annealer, "floats": floats}[layout](tally, what, device, client)


def annealer(tally, what, device, client):
    """Scaled 16-bit integers in holding registers; eight words at most."""

    def holding(address, count=1):
        return client.read("holding", address, count)

    def tenths():
        pv, setpoint, output, *_ = holding(0, 4)
        band, integral, derivative = holding(20, 3)
        return [pv / 10, setpoint / 10, output / 10, band / 10, integral, derivative]

    tally.equal(f"{what}: registers and panel", tenths(), panel(device))
    tally.equal(f"{what}: settled at 490", (holding(1), holding(4)), ([4900], [0]))
    client.write("holding", 1, 5105)
    tally.equal(f"{what}: setpoint written by function 06", holding(1), [5105])
    tally.equal(f"{what}: the panel follows", panel(device)[1], 510.5)
    client.write_many("holding", 20, [123, 456, 78])
    tally.equal(f"{what}: tuning written by function 16", holding(20, 3), [123, 456, 78])
    tally.equal(f"{what}: the panel follows", panel(device)[3:], [12.3, 456, 78])
    client.write("holding", 10, 1)
    tally.equal(f"{what}: the autotune bit", holding(3)[0] >> 4 & 1, 1)
    client.write("holding", 10, 0)
    tally.equal(f"{what}: aborted", (holding(3)[0] >> 4 & 1, holding(11)), (0, [4]))
    refused = {
        "input registers": (ILLEGAL_FUNCTION, client.read, "input", 0, 1),
        "coils": (ILLEGAL_FUNCTION, client.read, "coil", 0, 1),
        "a gap in the table": (ILLEGAL_ADDRESS, client.read, "holding", 6, 2),
        "a write to the process value": (ILLEGAL_ADDRESS, client.write, "holding", 0, 1),
        "a setpoint above its limit": (ILLEGAL_VALUE, client.write, "holding", 1, 6001),
        "nine words at once": (ILLEGAL_VALUE, client.read, "holding", 0, 9),
        "manual output in automatic": (DEVICE_FAILURE, client.write, "holding", 40, 100),
    }
    check_refused(tally, what, refused)
    half_good = [200, 100, 10_000]
    code = refusal(client.write_many, "holding", 20, half_good)
    tally.equal(f"{what}: one bad value of three is refused", code, ILLEGAL_VALUE)
    tally.equal(f"{what}: and none is taken", holding(20, 3), [123, 456, 78])


def floats(tally, what, device, client):
    """32-bit floats, low word first; also coils, discrete inputs and input registers."""
    kind = ModbusClientMixin.DATATYPE.FLOAT32

    def numbers(table, address, count):
        words = client.read(table, address, 2 * count)
        pairs = [words[n : n + 2] for n in range(0, len(words), 2)]
        convert = ModbusClientMixin.convert_from_registers
        return [round(convert(pair, kind, word_order="little"), 4) for pair in pairs]

    def shown():
        pv, _, output = numbers("input", 0, 3)
        return [round(pv, 1), *numbers("holding", 0, 1), round(output, 1), *numbers("holding", 2, 3)]

    def words_of(value):
        return ModbusClientMixin.convert_to_registers(value, kind, word_order="little")

    tally.equal(f"{what}: registers and panel", shown(), panel(device))
    client.write_many("holding", 0, words_of(510.5))
    tally.equal(f"{what}: setpoint written by function 16", numbers("holding", 0, 1), [510.5])
    tally.equal(f"{what}: the panel follows", panel(device)[1], 510.5)
    tally.equal(f"{what}: states", client.read("discrete", 0, 3), [0, 0, 0])
    client.write("coil", 1, 1)
    tally.equal(f"{what}: the autotune state", client.read("discrete", 0, 1), [1])
    client.write_many("coil", 0, [0, 0])
    tally.equal(f"{what}: aborted by function 15", client.read("coil", 0, 2), [0, 0])
    refused = {
        "half a float": (ILLEGAL_VALUE, client.write, "holding", 0, 1),
        "beyond the last setting": (ILLEGAL_ADDRESS, client.read, "holding", 26, 2),
        "beyond the last state": (ILLEGAL_ADDRESS, client.read, "discrete", 4, 1),
        "a setpoint above its limit": (ILLEGAL_VALUE, client.write_many, "holding", 0, words_of(601)),
        "33 words at once": (ILLEGAL_VALUE, client.read, "holding", 0, 33),
    }
    check_refused(tally, what, refused)


def check_refused(tally, what, requests):
    for name, (wanted, ask, *request) in requests.items():
        tally.equal(f"{what}: {name} is refused", refusal(ask, *request), wanted)


def check_all(connect):
    """Both layouts on a pseudo-terminal and over TCP; `connect(reached)` gives a client's context."""
    tally = bench.Tally()
    with bench.folder() as cwd:
        wires = {"serial line": ["--pty", cwd / "oven"], "Modbus TCP": ["--tcp", "127.0.0.1:0"]}
        for how, wire in wires.items():
            for layout in LAYOUTS:
                words = [*wire, "--layout", layout, *STILL]
                with bench.mock_device(*words) as (device, reached), connect(reached) as client:
                    check(tally, how, layout, device, client)
    tally.close()
