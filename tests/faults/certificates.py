"""Certificates for 127.0.0.1, made for one run."""

from __future__ import annotations

import ssl
import subprocess
from pathlib import Path

_CONFIG = """\
[ca]
default_ca = here
[here]
database = {folder}/index.txt
new_certs_dir = {folder}
rand_serial = yes
default_md = sha256
policy = any
x509_extensions = names
[any]
commonName = supplied
[names]
subjectAltName = IP:127.0.0.1
basicConstraints = CA:TRUE
"""


def make_certificate(folder: Path, *, first_day: str, last_day: str) -> tuple[Path, Path]:
    """A certificate that vouches for itself, and its key. Days are told as 20260101."""
    folder.mkdir()
    cert, key, ask, config = (folder / name for name in ("cert.pem", "key.pem", "ask.pem", "openssl.cnf"))
    (folder / "index.txt").touch()
    config.write_text(_CONFIG.format(folder=folder))
    _openssl(
        "req", "-new", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
        "-keyout", key, "-out", ask, "-subj", "/CN=shore.example",
    )  # fmt: skip
    _openssl(
        "ca", "-batch", "-selfsign", "-notext", "-config", config, "-keyfile", key, "-in", ask, "-out", cert,
        "-startdate", f"{first_day}000000Z", "-enddate", f"{last_day}000000Z",
    )  # fmt: skip
    return cert, key


def serves(cert: Path, key: Path) -> ssl.SSLContext:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(cert, key)
    return context


def _openssl(*words: str | Path) -> None:
    made = subprocess.run(["openssl", *words], capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stderr
