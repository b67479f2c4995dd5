"""A program at a terminal: `pty-child.py PROGRAM ARGUMENTS…`. Obeys words on its own standard input, one a line
(read, stall, hang-up, or a key), and prints {"pid": …} at the beginning and {"exit": …, "said": …} at the end."""
import json, os, pty, select, sys, threading

terminal, inner = pty.openpty()
name = os.ttyname(inner)
pid = os.fork()
if pid == 0:
    os.close(terminal)
    os.login_tty(inner)
    os.execvp(sys.argv[1], sys.argv[1:])
os.close(inner)
print(json.dumps({"pid": pid}), flush=True)

keys = {"ctrl-s": b"\x13", "ctrl-z": b"\x1a", "ctrl-backslash": b"\x1c"}
reading = threading.Event()
reading.set()
said = b""


def read():
    global said
    while True:
        reading.wait()
        try:
            if select.select([terminal], [], [], 0.1)[0] and reading.is_set():
                said += os.read(terminal, 4096)
        except (OSError, ValueError):
            return


def fill():
    """Nothing more goes in from the other side."""
    slave = os.open(name, os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        while True:
            os.write(slave, b"." * 256)
    except BlockingIOError:
        os.close(slave)


def obey():
    for line in sys.stdin:
        word = line.strip()
        if word == "stall":
            reading.clear()
            fill()
        elif word == "read":
            reading.set()
        elif word in keys:
            os.write(terminal, keys[word])
        elif word == "hang-up":
            reading.set()
            os.close(terminal)


for work in (read, obey):
    threading.Thread(target=work, daemon=True).start()
_, status = os.waitpid(pid, 0)
print(json.dumps({"exit": os.waitstatus_to_exitcode(status), "said": said.decode(errors="replace")[-4000:]}), flush=True)
os._exit(0)
