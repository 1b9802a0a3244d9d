"""Boards with the boot loaders of their core, emulated behind pseudo terminals, for real uploads."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

CORE = Path("/usr/share/arduino/hardware/arduino/avr")
SOURCE = Path(__file__).with_name("boot_loader.c")
FLASH = {"atmega328p": 32_768, "atmega2560": 262_144}
# Not optiboot's: the one in Debian's package is 20 bytes longer than its place at the end of the flash.
BOOT_LOADERS = {
    "mega2560": ("atmega2560", CORE / "bootloaders/stk500v2/stk500boot_v2_mega2560.hex"),
    "nano_old": ("atmega328p", CORE / "bootloaders/atmega/ATmegaBOOT_168_atmega328.hex"),
}


def read_hex(path: Path) -> dict[int, int]:
    """Read a file of bytes by address (Intel, Hexadecimal Object File Format Specification, 1988)."""
    base, found = 0, {}
    for line in path.read_text(encoding="ascii").splitlines():
        row = bytes.fromhex(line.strip()[1:])
        assert sum(row) % 256 == 0
        count, at, kind = row[0], row[1] << 8 | row[2], row[3]
        if kind == 0:
            found |= {base + at + i: row[4 + i] for i in range(count)}
        elif kind in {2, 4}:
            base = (row[4] << 8 | row[5]) << (4 if kind == 2 else 16)
    return found


def build(folder: Path) -> Path:
    """Build the emulator of boards with a boot loader."""
    program = folder / "boot_loader"
    subprocess.run(
        ["gcc", "-O2", "-Wall", "-Wextra", "-Werror", "-o", program, SOURCE, "-lsimavr", "-lelf"], check=True
    )
    return program


@contextmanager
def plugged_in(emulator: Path, board: str, folder: Path) -> Iterator[tuple[str, Path]]:
    """Plug a board in: give its port, and the file in which its flash lies once the port is closed."""
    controller, boot = BOOT_LOADERS[board]
    loader, flash = read_hex(boot), bytearray(b"\xff" * FLASH[controller])
    for at, byte in loader.items():
        flash[at] = byte
    before, after = folder / "before.bin", folder / "after.bin"
    before.write_bytes(flash)
    command = [emulator, controller, f"{min(loader):x}", before, after]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        try:
            yield running.stdout.readline().strip(), after
            assert running.wait(timeout=30) == 0, running.stderr.read() if running.stderr else ""
        finally:
            running.kill()
