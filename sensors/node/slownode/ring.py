"""A day of readings in flash: written one after the other, sent in order, whole after any power cut. Pure.

Records are appended to small files: a flash file system writes a file's end cheaply and its middle dearly.
Each record carries its number and a CRC-32. A cut in the middle of a write leaves a torn record at the end of
a file: it is left unread, the next record begins a new file, and all before it stands. What was sent is
known by the number of the last one, kept in two files in turn, so that one of them is always whole.
"""

import binascii
import os
import struct

RECORD = "<IIBfffff"
"""Number, seconds, whether they are since 1970, and the values in the order of `pack.NAMES`."""

SIZE = struct.calcsize(RECORD)
WHOLE = SIZE + 4
PER_FILE = 60
MARKS = ("sent.a", "sent.b")


class Ring:
    """The readings that are kept in `folder`, at most `capacity` of them; the oldest go first."""

    def __init__(self, folder, capacity=1500, per_file=PER_FILE):
        self._folder = folder
        self._files_kept = max(2, -(-capacity // per_file) + 1)
        self._per_file = per_file
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there
        self._mark = 0
        self._sent = self._last_mark()
        last = self._sent
        self._open = None
        self._in_open = 0
        for name in self._files():
            records = self._read(name)
            # A file's own number counts too: it may hold only a torn record, and its name is then taken.
            last = max([last, int(name[:-4])] + [record[0] for record in records])
            # A board that woke goes on in the newest file, unless its end is torn.
            whole = os.stat(self._path(name))[6] == len(records) * WHOLE
            self._open, self._in_open = (name, len(records)) if whole else (None, 0)
        self._next = last + 1

    def append(self, seconds, absolute, values):
        """Keep a reading: its time, whether that is since 1970, and its values, None where there is none."""
        if self._open is None or self._in_open >= self._per_file:
            self._open = "%010d.log" % self._next
            self._in_open = 0
            self._let_go()
        nan = float("nan")
        body = struct.pack(
            RECORD, self._next, seconds, 1 if absolute else 0, *[nan if v is None else v for v in values]
        )
        with open(self._path(self._open), "ab") as file:
            file.write(body + struct.pack("<I", binascii.crc32(body) & 0xFFFFFFFF))
        self._next += 1
        self._in_open += 1

    def pending(self, most):
        """The oldest readings that were not sent, at most so many: (number, seconds, absolute, values)."""
        found = []
        for name in self._files():
            for record in self._read(name):
                if record[0] > self._sent:
                    found.append(record)
                    if len(found) >= most:
                        return found
        return found

    @property
    def next_number(self):
        """The number that the next reading gets."""
        return self._next

    def count(self):
        """How many readings wait to be sent."""
        return sum(1 for name in self._files() for record in self._read(name) if record[0] > self._sent)

    def sent(self, number):
        """All up to that number are stored at the other end: files with nothing else in them go."""
        if number <= self._sent:
            return
        self._sent = number
        self._mark = 1 - self._mark  # never over the newest whole one
        body = struct.pack("<I", number)
        with open(self._path(MARKS[self._mark]), "wb") as file:
            file.write(body + struct.pack("<I", binascii.crc32(body) & 0xFFFFFFFF))
        for name in self._files():
            records = self._read(name)
            if name != self._open and (not records or records[-1][0] <= number):
                os.remove(self._path(name))

    def _let_go(self):
        names = self._files()
        for name in names[: max(0, len(names) + 1 - self._files_kept)]:
            os.remove(self._path(name))

    def _last_mark(self):
        best = 0
        for at, name in enumerate(MARKS):
            try:
                with open(self._path(name), "rb") as file:
                    data = file.read()
            except OSError:
                continue
            if len(data) == 8 and struct.unpack("<I", data[4:])[0] == binascii.crc32(data[:4]) & 0xFFFFFFFF:
                said = struct.unpack("<I", data[:4])[0]
                if said > best:
                    best, self._mark = said, at
        return best

    def _files(self):
        return sorted(name for name in os.listdir(self._folder) if name.endswith(".log"))

    def _read(self, name):
        """The whole records of a file, in order, up to the first that is torn."""
        try:
            with open(self._path(name), "rb") as file:
                data = file.read()
        except OSError:
            return []
        found = []
        for at in range(0, len(data) - WHOLE + 1, WHOLE):
            body = data[at : at + SIZE]
            if struct.unpack("<I", data[at + SIZE : at + WHOLE])[0] != binascii.crc32(body) & 0xFFFFFFFF:
                break
            number, seconds, absolute, *values = struct.unpack(RECORD, body)
            said = tuple(None if v != v else round(v, 4) for v in values)
            found.append((number, seconds, bool(absolute), said))
        return found

    def _path(self, name):
        return self._folder + "/" + name
