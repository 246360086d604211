"""pymodbus reads and writes mock-device: both layouts, on a pseudo-terminal and over TCP."""

from contextlib import contextmanager

import mock_checks
from pymodbus import FramerType
from pymodbus.client import ModbusSerialClient, ModbusTcpClient

UNIT = 1


class Client:
    def __init__(self, connection):
        read = {
            "coil": connection.read_coils,
            "discrete": connection.read_discrete_inputs,
            "holding": connection.read_holding_registers,
            "input": connection.read_input_registers,
        }
        self._read = read
        self._write = {"coil": connection.write_coil, "holding": connection.write_register}
        self._write_many = {"coil": connection.write_coils, "holding": connection.write_registers}

    def read(self, table, address, count):
        answer = accepted(self._read[table](address, count=count, device_id=UNIT))
        return [int(bit) for bit in answer.bits[:count]] or answer.registers

    def write(self, table, address, value):
        accepted(self._write[table](address, value, device_id=UNIT))

    def write_many(self, table, address, values):
        accepted(self._write_many[table](address, values, device_id=UNIT))


def accepted(answer):
    if answer.isError():
        raise mock_checks.Refused(answer.exception_code)
    return answer


@contextmanager
def connect(reached):
    host, _, port = reached.rpartition(":")
    if host:
        connection = ModbusTcpClient(host, port=int(port), timeout=1, retries=0)
    else:
        # A pseudo-terminal has no parity bit to set.
        line = {"baudrate": 9600, "parity": "N", "timeout": 1, "retries": 0}
        connection = ModbusSerialClient(reached, framer=FramerType.RTU, **line)
    with connection:
        yield Client(connection)


if __name__ == "__main__":
    mock_checks.check_all(connect)
