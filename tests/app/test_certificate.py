"""Certificates: those a ward brings, and the one that a skills lab makes for itself."""

from __future__ import annotations

import shutil
import ssl
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509

from app import certificate
from app.certificate import check_certificate, lab_certificate
from app.cli import main
from vision.errors import InputError

HOST = "192.0.2.7"


def test_the_labs_certificate_names_its_address_and_can_sign_no_other(tmp_path: Path) -> None:
    made = lab_certificate(HOST, tmp_path)
    found = x509.load_pem_x509_certificate(made.file.read_bytes())
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert {str(x) for x in names.get_values_for_type(x509.IPAddress)} == {HOST, "127.0.0.1"}
    assert not found.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert found.not_valid_after_utc - datetime.now(UTC) < timedelta(days=31)
    assert made.key_file.stat().st_mode & 0o077 == 0
    shown = ssl.PEM_cert_to_DER_cert(made.file.read_text())
    import hashlib
    assert made.fingerprint.replace(":", "").lower() == hashlib.sha256(shown).hexdigest()


@pytest.mark.skipif(shutil.which("openssl") is None, reason="no openssl on this machine")
def test_another_program_reads_it_as_a_servers_certificate_for_that_address(
        tmp_path: Path) -> None:
    made = lab_certificate(HOST, tmp_path)
    said = subprocess.run(
        ["openssl", "verify", "-CAfile", made.file, "-purpose", "sslserver", "-verify_ip", HOST,
         made.file], capture_output=True, text=True)
    assert said.returncode == 0, said.stderr


def test_it_is_kept_while_it_will_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = lab_certificate(HOST, tmp_path)
    assert lab_certificate(HOST, tmp_path).fingerprint == first.fingerprint
    other = lab_certificate("192.0.2.8", tmp_path)  # the machine has another address now
    assert other.fingerprint != first.fingerprint
    monkeypatch.setattr(certificate, "LAB_LEAST_LEFT", timedelta(days=31))
    assert lab_certificate("192.0.2.8", tmp_path).fingerprint != other.fingerprint
    (tmp_path / "lab-tls.key").write_text("no key")
    lab_certificate("192.0.2.8", tmp_path)
    check_certificate(str(tmp_path / "lab.crt"), str(tmp_path / "lab-tls.key"))


def test_what_is_wrong_with_a_certificate_is_named(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, two = (lab_certificate(HOST, tmp_path / name) for name in "ab")
    with pytest.raises(InputError, match="is not the key of"):
        check_certificate(str(one.file), str(two.key_file))
    with pytest.raises(InputError, match="--certificate: .* cannot be read"):
        check_certificate(str(tmp_path / "none"), str(one.key_file))
    with pytest.raises(InputError, match="--certificate-key: .* cannot be read"):
        check_certificate(str(one.file), str(one.file))
    monkeypatch.setattr(certificate, "LAB_LASTS", timedelta(seconds=-1))
    monkeypatch.setattr(certificate, "LAB_LEAST_LEFT", timedelta(days=-1))
    old = lab_certificate(HOST, tmp_path / "c")
    with pytest.raises(InputError, match="ran out on"):
        check_certificate(str(old.file), str(old.key_file))


@pytest.mark.parametrize(("words", "sentence"), [
    (["--certificate", "a.pem"], "belong together"),
    (["--certificate-key", "a.pem"], "belong together"),
    (["--lab", "--allow-remote", "--certificate", "a.pem"], "of its own"),
    (["--lab"], "--allow-remote"),
])
def test_the_command_refuses_in_one_sentence(
        words: list[str], sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.commands.serve.own_network_address", lambda: HOST)
    monkeypatch.setattr("app.commands.serve._launch", lambda words: 0)
    assert main(["serve", *words, "--data", str(tmp_path), "--no-browser"]) == 2
    said = capsys.readouterr().err
    assert sentence in said and said.count("\n") == 1
    assert "without encryption" not in said, "a certificate was asked for or brought"
