"""emberline reads values of every type that pymodbus encoded, in both word orders, exactly.

Each value is a point of a map made for it; the words are made by pymodbus' own conversion.
"""

import json
import math
import random
from decimal import Decimal

import bench
import kiln
import read_pymodbus_server
from pymodbus.client.mixin import ModbusClientMixin

KINDS = ModbusClientMixin.DATATYPE
ORDERS = {"big": "high-first", "little": "low-first"}
WHOLE = {
    "i16": (KINDS.INT16, -(2**15), 2**15 - 1),
    "u16": (KINDS.UINT16, 0, 2**16 - 1),
    "i32": (KINDS.INT32, -(2**31), 2**31 - 1),
    "u32": (KINDS.UINT32, 0, 2**32 - 1),
    "i64": (KINDS.INT64, -(2**63), 2**63 - 1),
    "u64": (KINDS.UINT64, 0, 2**64 - 1),
}
# With the largest, the least normal and the least of all (IEEE 754).
FLOATS = {
    "f32": (KINDS.FLOAT32, [3.4028235e38, 1.17549435e-38, 1e-45]),
    "f64": (KINDS.FLOAT64, [1.7976931348623157e308, 2.2250738585072014e-308, 5e-324]),
}
# Values of each kind beside the ends and the middle.
RANDOM = 4
DECIMALS = 3

SETUP = """schema = 1
[lines.bench]
serial = "kiln-port"
parity = "none"
[[loops]]
name = "values"
line = "bench"
unit_number = 1
map = "values-map.toml"
"""


def values():
    """Each value with its encoding, pymodbus' kind, and how it must read."""
    chance = random.Random(4)
    for encoding, (kind, low, high) in WHOLE.items():
        others = [chance.randint(low, high) for _ in range(RANDOM)]
        for value in [low, high, 0, 1, -1 if low else 2, *others]:
            yield encoding, kind, value, Decimal(value).scaleb(-DECIMALS)
    for encoding, (kind, ends) in FLOATS.items():
        others = [chance.uniform(-2000, 2000) for _ in range(RANDOM)]
        for value in [0.0, 25.3, -0.1, *others, *ends]:
            yield encoding, kind, value, value


def point(name, encoding, order, address):
    decimals = f"decimals = {DECIMALS}\n" if encoding in WHOLE else ""
    role = "other" if address else "process-value"
    return (
        f'[points.{name}]\nrole = "{role}"\ntable = "holding"\naddress = {address}\n'
        f'encoding = "{encoding}"\nword_order = "{order}"\n{decimals}\n'
    )


def agrees(encoding, got, wanted):
    """Whole numbers digit by digit; floats as the same float of their width."""
    if encoding in WHOLE:
        return str(got) == str(wanted) or (got, got.as_tuple().exponent) == (wanted, -DECIMALS)
    kind, _ = FLOATS[encoding]
    words = [ModbusClientMixin.convert_to_registers(float(it), kind) for it in (got, wanted)]
    return words[0] == words[1] and math.isfinite(float(got))


def main():
    tally = bench.Tally()
    text = 'schema = 1\ntitle = "Every type"\n[access]\nmax_words = 100\n'
    holding, points = [], {}
    for order, word in ORDERS.items():
        for number, (encoding, kind, value, wanted) in enumerate(values()):
            name = f"{encoding}-{order}-{number}"
            text += point(name, encoding, word, len(holding))
            holding += ModbusClientMixin.convert_to_registers(value, kind, word_order=order)
            points[name] = (encoding, wanted)
    unit = kiln.Unit(1, [0], holding, [False], [False], {})
    with bench.folder() as cwd, bench.wire(cwd / kiln.PORT, cwd / "far-end"):
        (cwd / "values-map.toml").write_text(text)
        (cwd / "values.toml").write_text(SETUP)
        with read_pymodbus_server.running(cwd / "far-end", [unit], "values.toml"):
            code, out, _ = bench.emberline("read", "values.toml", "--json", *bench.AT_ONCE, cwd=cwd)
    tally.equal("exit code", code, 0)
    # A float would hide a digit too many.
    (loop,) = json.loads(out, parse_float=Decimal, parse_int=Decimal)["loops"]
    read = {point["name"]: point["value"] for point in loop["points"]}
    tally.equal("points", list(read), list(points))
    for name, (encoding, wanted) in points.items():
        holds = read[name] is not None and agrees(encoding, read[name], wanted)
        tally.true(name, holds, f"got {read[name]}, wanted {wanted}")
    tally.close()


if __name__ == "__main__":
    main()
