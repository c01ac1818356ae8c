"""A terminal of its own for a command: types keys at it and reads what it draws.

Reads from standard input, as JSON: the command, the terminal's size, and steps: keys to type,
a size to take, or a signal to send, and a text that is then to be on the screen. Writes, as
JSON: the screen behind each step; how the command ended; whether the terminal's modes are
what they were, and its other screen and cursor are left.

It knows of the sequences of ECMA-48 what a program needs that puts characters at places.
"""

import codecs
import fcntl
import json
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
import time

PATIENCE = 60.0
SEQUENCE = re.compile(r"\x1b\[([?>=]?)([\d;]*)([A-Za-z@`])")


class Screen:
    def __init__(self, width, height):
        self.is_other, self.has_cursor, self.styles = False, True, set()
        self.pending = ""
        self.take_size(width, height)

    def take_size(self, width, height):
        self.width, self.height, self.x, self.y = width, height, 0, 0
        self.cells = [[" "] * width for _ in range(height)]

    def feed(self, text):
        text, at = self.pending + text, 0
        self.pending = ""
        while at < len(text):
            if text[at] == "\x1b":
                found = SEQUENCE.match(text, at)
                if found is None:
                    if len(text) - at < 16:
                        self.pending = text[at:]
                        return
                    at += 1
                    continue
                self.obey(*found.groups())
                at = found.end()
                continue
            self.put(text[at])
            at += 1

    def put(self, ch):
        if ch == "\r":
            self.x = 0
        elif ch == "\n":
            self.y = min(self.y + 1, self.height - 1)
        elif ch >= " ":
            if self.y < self.height and self.x < self.width:
                self.cells[self.y][self.x] = ch
            self.x += 1

    def obey(self, mark, arguments, kind):
        numbers = [int(number or 0) for number in arguments.split(";")] if arguments else []
        if kind == "H":
            self.y = max(numbers[0] if numbers else 1, 1) - 1
            self.x = max(numbers[1] if len(numbers) > 1 else 1, 1) - 1
        elif kind == "J":
            self.cells = [[" "] * self.width for _ in range(self.height)]
        elif kind == "m":
            self.styles.update(arguments.split(";"))
        elif kind in "hl" and mark == "?":
            if 1049 in numbers:
                self.is_other = kind == "h"
            if 25 in numbers:
                self.has_cursor = kind == "h"

    def text(self):
        return "\n".join("".join(row).rstrip() for row in self.cells)


def main():
    asked = json.load(sys.stdin)
    width, height = asked["size"]
    ours, theirs = pty.openpty()

    def resize(width, height):
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", height, width, 0, 0))

    def of_its_own():
        os.setsid()
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)

    resize(width, height)
    before = termios.tcgetattr(theirs)
    environment = dict(os.environ, TERM="xterm-256color")
    environment.pop("NO_COLOR", None)
    environment.update(asked["environment"])
    child = subprocess.Popen(asked["command"], stdin=theirs, stdout=theirs, stderr=theirs,
                             env=environment, cwd=asked["folder"], preexec_fn=of_its_own)
    screen = Screen(width, height)
    # What is read may end within a character.
    decoder = codecs.getincrementaldecoder("utf8")("replace")

    def read(wait):
        if select.select([ours], [], [], wait)[0]:
            screen.feed(decoder.decode(os.read(ours, 1 << 16)))
            return True
        return False

    def wait_for(text):
        end = time.monotonic() + PATIENCE
        while text not in screen.text():
            if time.monotonic() > end or (child.poll() is not None and not read(0.1)):
                raise SystemExit(f"never seen: {text!r}\n{screen.text()}")
            read(0.05)

    screens = []
    for step in asked["steps"]:
        if "keys" in step:
            os.write(ours, step["keys"].encode())
        if "resize" in step:
            screen.take_size(*step["resize"])
            # That tells the program, too.
            resize(*step["resize"])
        if "signal" in step:
            child.send_signal(step["signal"])
        if "until_other_screen_is_left" in step:
            end = time.monotonic() + PATIENCE
            while screen.is_other or termios.tcgetattr(theirs) != before:
                if time.monotonic() > end:
                    raise SystemExit("it does not leave the other screen")
                read(0.05)
            # A signal to go on that comes before it has stopped is lost.
            how = os.WSTOPPED | os.WNOWAIT | os.WNOHANG
            while os.waitid(os.P_PID, child.pid, how) is None:
                if time.monotonic() > end:
                    raise SystemExit("it does not stop")
                read(0.05)
            # What it draws when it goes on is to be all of it.
            screen.take_size(screen.width, screen.height)
        if "until" in step:
            wait_for(step["until"])
        screens.append(screen.text())
    end = time.monotonic() + PATIENCE
    while child.poll() is None and time.monotonic() < end:
        read(0.05)
    if child.poll() is None:
        child.kill()
        raise SystemExit("it does not end\n" + screen.text())
    while read(0.1):
        pass
    after = termios.tcgetattr(theirs)
    print(json.dumps({
        "screens": screens,
        "last": screen.text(),
        "code": child.returncode,
        "is_as_before": after == before,
        "is_other_screen": screen.is_other,
        "has_cursor": screen.has_cursor,
        "styles": sorted(screen.styles),
    }))


main()
