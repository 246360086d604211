"""The bead kiln of kiln.toml: what its peers hold in their registers, and what emberline must say.

The words are made by pymodbus' own conversion, which knows nothing of emberline's.
"""

import csv
import json
from itertools import chain
from dataclasses import dataclass
from decimal import Decimal

import bench
from pymodbus.client.mixin import ModbusClientMixin

KINDS = ModbusClientMixin.DATATYPE
SENSOR_OPEN = 0x7FFF


def _words(value, kind, order="big"):
    return ModbusClientMixin.convert_to_registers(value, kind, word_order=order)


@dataclass
class Unit:
    """The four tables of one unit, each from address 0 on, and the value of every point, `None`
    where it has a fault."""

    number: int
    input: list
    holding: list
    coils: list
    discrete: list
    values: dict


def _unit(number, pv, pv_word, door):
    words = {
        "input": {
            0: [pv_word],
            1: _words(-123, KINDS.INT16),
            2: _words(37.25, KINDS.FLOAT32),
            4: _words(58.7, KINDS.FLOAT32, "little"),
            6: _words(305_419_896, KINDS.UINT32),
            8: _words(3_735_928_559, KINDS.UINT32, "little"),
            10: _words(-100_000, KINDS.INT32),
            12: _words(-2_147_483_648, KINDS.INT32, "little"),
            40: _words(1234.5678, KINDS.FLOAT64),
            44: _words(-9_007_199_254_740_993, KINDS.INT64, "little"),
        },
        # Bit 4 of register 21 is the autotune, bits 8 to 11 the program.
        "holding": {0: [6150], 1: [65_535], 20: [SENSOR_OPEN], 21: [0b0101_0001_0000]},
    }
    tables = {}
    for table, places in words.items():
        tables[table] = [0] * 64
        for address, content in places.items():
            tables[table][address : address + len(content)] = content
    values = {
        "pv": pv,
        "sp": "615.0",
        "out": "37.25",
        "tuning": "1",
        "room": "-12.3",
        "door": str(int(door)),
        "fan": "1",
        "wall": "58.7",
        "starts": "305419896",
        "seconds": "3735928559",
        "drift": "-100.000",
        "balance": "-2147483648",
        "energy": "1234.5678",
        "pulses": "-9007199254740993",
        "highest": "65535",
        "spare_sensor": None,
        "program": "5",
        "heating": "1",
        "pump": "0",
    }
    coils = [address == 9 for address in range(16)]
    discrete = [address == 0 or (address == 3 and door) for address in range(16)]
    return Unit(number, tables["input"], tables["holding"], coils, discrete, values)


TOP = _unit(1, "612.4", 6124, door=True)
BOTTOM = _unit(7, None, SENSOR_OPEN, door=False)
LOOPS = {"kiln-top": TOP, "kiln-bottom": BOTTOM}

SETUP = bench.HERE / "kiln.toml"
PORT = "kiln-port"
TREND = ["pv", "sp", "out", "tuning", "room", "door", "fan"]
COLUMNS = ["pv_degC", "sp_degC", "out_pct", "tuning", "room_degC", "door", "fan"]
HEADER = ["time", "elapsed_s", "state", *COLUMNS]


def check_read(tally, cwd, loops):
    """One `read --json` of these loops: every value, digit by digit."""
    for loop in loops:
        code, out, err = bench.emberline("read", SETUP, "--loop", loop, "--json", *bench.AT_ONCE, cwd=cwd)
        tally.equal(f"read {loop}: exit code", (code, err), (0, ""))
        # A float would hide a digit too many.
        document = json.loads(out, parse_float=Decimal, parse_int=Decimal)
        (only,) = document["loops"]
        tally.equal(f"read {loop}: loop", only["loop"], loop)
        unit = LOOPS[loop]
        points = {point["name"]: point for point in only["points"]}
        tally.equal(f"read {loop}: points", list(points), list(unit.values))
        for name, wanted in unit.values.items():
            wanted = (None, "faulty") if wanted is None else (Decimal(wanted), "good")
            got = (points[name]["value"], points[name]["state"])
            tally.equal(f"read {loop}: {name}", got, wanted)
        fault = points["spare_sensor"]
        tally.equal(f"read {loop}: words of a fault", fault["raw"], ["0x7FFF"])


def check_record(tally, cwd, loops, seconds):
    """`record --for`: one row for each poll, and in each row what the unit holds.

    `loops` gives the seconds between two polls of each loop of the setup.
    """
    words = ["record", SETUP, "--into", "recordings", "--for", f"{seconds}s", *bench.AT_ONCE]
    code, out, err = bench.emberline(*words, cwd=cwd)
    tally.equal("record: exit code", (code, err.count("error")), (0, 0))
    recording = cwd / out.strip()
    for loop, every in loops.items():
        unit = LOOPS[loop]
        check_rows(tally, f"record {loop}", recording / loop, unit, seconds, Decimal(str(every)))
        check_settings(tally, f"record {loop}", recording / loop, unit)


def check_rows(tally, what, folder, unit, seconds, every):
    """The day files: two where the check ran over midnight UTC."""
    header, *rows = chain.from_iterable(map(table, sorted(folder.glob("20??-??-??.csv"))))
    rows = [row for row in rows if row != header]
    tally.equal(f"{what}: header", header, HEADER)
    tally.equal(f"{what}: rows", len(rows), int(seconds / every))
    state = "faulty" if unit.values["pv"] is None else "good"
    cells = [state] + [unit.values[point] or "" for point in TREND]
    # A busy machine may have no time for a poll; such a row says so and has no values.
    polled = [row for row in rows if row[2] != "skipped"]
    wrong = [row for row in polled if row[2:] != cells]
    tally.equal(f"{what}: cells of every row", wrong[:1], [])
    tally.true(f"{what}: most polls were made", 2 * len(polled) > len(rows), f"only {len(polled)}")
    early = [row for n, row in enumerate(rows) if Decimal(row[1]) < n * every]
    tally.equal(f"{what}: no row is early", early[:1], [])


def check_settings(tally, what, folder, unit):
    """settings.csv holds every slow point at the start and at the end."""
    _, *rows = table(folder / "settings.csv")
    slow = {point: value or "" for point, value in unit.values.items() if point not in TREND}
    for cause in ("start", "end"):
        got = {point: value for _, _, why, point, _, value, _ in rows if why == cause}
        tally.equal(f"{what}: settings at the {cause}", got, slow)


def table(path):
    with path.open(newline="") as file:
        return list(csv.reader(file))
