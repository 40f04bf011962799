"""A gate before a printer that wants a name and a password as HTTP Digest (RFC 7616) has it.

    gate.py PORT PRINTER_PORT ALGORITHM USES LOG

Computes the answer by itself, from hashlib alone. What the gate makes up for an answer (the nonce) is
good for USES requests, each with the next count, and then stale. Keeps the fields of what it is
asked with in LOG; a printer's pages are kept by the printer behind it."""

import hashlib
import http.client
import http.server
import secrets
import sys

PORT, PRINTER, ALGORITHM, USES, LOG = (
    int(sys.argv[1]), int(sys.argv[2]), sys.argv[3], int(sys.argv[4]), sys.argv[5])
NAME, PASSWORD, REALM = "Marsh \"Keeper\"", "pricked: twice", "Ferry house"
HASH = {"MD5": hashlib.md5, "SHA-256": hashlib.sha256}
counts = {}


def digest(algorithm, text):
    return HASH[algorithm](text.encode()).hexdigest()


def parts(field):
    """The parts of an Authorization field, with quoting taken off."""
    found, at = {}, len("Digest ")
    while at < len(field):
        name, at = field[at:field.index("=", at)].strip(" ,"), field.index("=", at) + 1
        value = ""
        if field[at] == '"':
            at += 1
            while field[at] != '"':
                at += field[at] == "\\"
                value += field[at]
                at += 1
            at += 1
        else:
            while at < len(field) and field[at] != ",":
                value += field[at]
                at += 1
        found[name] = value
    return found


class Gate(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def log_message(self, *args):
        pass

    def verdict(self):
        """None where the answer is right; else whether it was so once."""
        field = self.headers.get("Authorization", "")
        with open(LOG, "a") as log:
            log.write(f"{self.requestline}\n{self.headers}\n")
        if not field.startswith("Digest "):
            return False
        said = parts(field)
        algorithm = said.get("algorithm", "MD5")
        a1 = digest(algorithm, f"{NAME}:{REALM}:{PASSWORD}")
        a2 = digest(algorithm, f"POST:{self.path}")
        right = digest(algorithm, ":".join(
            [a1, said["nonce"], said["nc"], said["cnonce"], said["qop"], a2]))
        if (said["response"], said["username"], said["uri"], said["qop"], algorithm) != (
                right, NAME, self.path, "auth", ALGORITHM):
            return False
        if counts.get(said["nonce"], USES) >= USES:
            return True
        counts[said["nonce"]] += 1
        return None if int(said["nc"], 16) == counts[said["nonce"]] else False

    def refuse(self, was_right):
        nonce = secrets.token_urlsafe(24)
        counts[nonce] = 0
        stale = ", stale=true" if was_right else ""
        self.send_response(401)
        # One that nobody knows, the one that is meant, and Basic, which must not be answered here.
        self.send_header("WWW-Authenticate", "Raven realm=\"Ferry house\", feather=\"black\"")
        self.send_header("WWW-Authenticate",
                         f'Digest realm="{REALM}", qop="auth", algorithm={ALGORITHM}, '
                         f'nonce="{nonce}"{stale}, Basic realm="{REALM}"')
        self.send_header("Content-Length", "0")
        self.end_headers()

    def handle_expect_100(self):
        self.judged = self.verdict()
        if self.judged is None:
            self.send_response_only(100)
            self.end_headers()
            return True
        self.refuse(self.judged)
        # What comes next on this connection cannot be told from pages.
        self.close_connection = True
        return False

    def body(self):
        if self.headers.get("Transfer-Encoding", "").lower() != "chunked":
            return self.rfile.read(int(self.headers.get("Content-Length", 0)))
        whole = b""
        while size := int(self.rfile.readline().split(b";")[0], 16):
            whole += self.rfile.read(size)
            self.rfile.readline()
        self.rfile.readline()
        return whole

    def do_POST(self):
        body = self.body()
        judged = self.judged if "Expect" in self.headers else self.verdict()
        if judged is not None:
            self.refuse(judged)
            return
        printer = http.client.HTTPConnection("localhost", PRINTER, timeout=30)
        printer.request("POST", self.path, body, {"Content-Type": "application/ipp"})
        answer = printer.getresponse()
        said = answer.read()
        self.send_response(answer.status)
        self.send_header("Content-Type", "application/ipp")
        self.send_header("Content-Length", str(len(said)))
        self.end_headers()
        self.wfile.write(said)


server = http.server.ThreadingHTTPServer(("", PORT), Gate)
print("open", flush=True)
server.serve_forever()
