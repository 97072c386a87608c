"""Modbus devices by an independent implementation.

    devices.py rtu PATH       on a serial line
    devices.py tcp PORT       over TCP on loopback; port 0 is chosen by the system

It says "ready" (and the port) once it serves, and "asked UNIT" for each question.
"""

import os

# What other tests of the same program have open is none of ours, and would keep their lines alive.
os.closerange(3, 4096)

import asyncio
import sys

from pymodbus.client.mixin import ModbusClientMixin
from pymodbus.constants import ExcCodes
from pymodbus.datastore import ModbusBaseDeviceContext, ModbusServerContext
from pymodbus.server import ModbusSerialServer, ModbusTcpServer

INPUT, HOLDING = 4, 3
TYPE = ModbusClientMixin.DATATYPE


def registers(numbers, order="big"):
    """Registers by address, from (address, number, type)."""
    found = {}
    for address, number, kind in numbers:
        words = ModbusClientMixin.convert_to_registers(number, kind, word_order=order)
        found.update({address + at: word for at, word in enumerate(words)})
    return found


class Device(ModbusBaseDeviceContext):
    def __init__(self, inputs, holdings, most=125):
        self.tables = {INPUT: inputs, HOLDING: holdings}
        self.most = most

    def getValues(self, func_code, address, count=1):
        table = self.tables[func_code]
        wanted = range(address, address + count)
        if count > self.most or any(at not in table for at in wanted):
            return ExcCodes.ILLEGAL_ADDRESS
        return [table[at] for at in wanted]


class Refusing(ModbusBaseDeviceContext):
    """Refuses every register with the exception of its address."""

    def getValues(self, func_code, address, count=1):
        return ExcCodes(address)


NUMBERS = [
    (0, 1682, TYPE.INT16),
    (1, -123, TYPE.INT16),
    (2, 65000, TYPE.UINT16),
    (3, -100000, TYPE.INT32),
    (5, 4000000000, TYPE.UINT32),
    (7, 168.25, TYPE.FLOAT32),
    (30, float("nan"), TYPE.FLOAT32),
]

DEVICES = {
    1: Device(registers(NUMBERS), registers([(100, 335.75, TYPE.FLOAT32)])),
    2: Device(registers(NUMBERS, "little"), {7: 2120}),
    5: Refusing(),
    6: Device({0: 11, 1: 12}, {}, most=1),
    7: Device({0: 77}, {}),
    8: Device({0: 88}, {}),
}


def trace(sending, packet):
    """Tells who is asked; spoils the answers of devices 7 (its check sum) and 8 (its end)."""
    if not packet:
        return packet
    unit = packet[0] if RTU else packet[6]
    if not sending:
        print("asked", unit, flush=True)
    elif RTU and unit == 7:
        return packet[:-1] + bytes([packet[-1] ^ 1])
    elif RTU and unit == 8:
        return packet[:4]
    return packet


async def serve():
    context = ModbusServerContext(devices=DEVICES, single=False)
    common = {"context": context, "ignore_missing_devices": True, "trace_packet": trace}
    if RTU:
        server = ModbusSerialServer(port=sys.argv[2], baudrate=19200, **common)
        await server.listen()
        print("ready", flush=True)
    else:
        server = ModbusTcpServer(address=("127.0.0.1", int(sys.argv[2])), **common)
        await server.listen()
        print("ready", server.transport.sockets[0].getsockname()[1], flush=True)
    await asyncio.Event().wait()


RTU = sys.argv[1] == "rtu"
asyncio.run(serve())
