"""Encryption of the connection to the broker: whom we trust, and how we show who we are.

The files are read at every connection, so a certificate that was renewed is used from the next one on.

References
----------
RFC 5246 and RFC 8446 (TLS 1.2 and 1.3; older versions are refused). RFC 6125 (the broker's certificate must
name the host that we dial).
"""

from __future__ import annotations

import ssl
from dataclasses import dataclass
from pathlib import Path

from collector.errors import SettingsError

__all__ = ["TlsFiles", "explained"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TlsFiles:
    """Files of an encrypted connection, all PEM.

    Attributes
    ----------
    ca_file : Path
        Certificates of the authorities that may vouch for the broker; nobody else is trusted.
    certificate_file, key_file : Path or None
        Our own certificate and its unencrypted key, for a broker that asks for one.
    """

    ca_file: Path
    certificate_file: Path | None = None
    key_file: Path | None = None

    def context(self) -> ssl.SSLContext:
        """What a connection is encrypted with.

        Raises
        ------
        SettingsError
            A file is missing, is not PEM, or key and certificate do not belong together.
        """
        context = self._trusting()
        if self.certificate_file is not None:
            self._present(context, self.certificate_file)
        return context

    def checked(self) -> TlsFiles:
        """The same, after reading every file once, so that a wrong one is known at the start.

        Raises
        ------
        SettingsError
            As of :meth:`context`.
        """
        self.context()
        return self

    def _trusting(self) -> ssl.SSLContext:
        try:
            return ssl.create_default_context(cafile=str(self.ca_file))
        except ssl.SSLError as error:
            raise SettingsError(
                f"{self.ca_file} holds no certificate in PEM; mend broker.tls.ca_file"
            ) from error
        except OSError as error:
            raise _unreadable("ca_file", self.ca_file, error) from error

    def _present(self, context: ssl.SSLContext, certificate: Path) -> None:
        for name, path in (("certificate_file", certificate), ("key_file", self.key_file or certificate)):
            try:
                path.read_bytes()
            except OSError as error:
                raise _unreadable(name, path, error) from error
        try:
            # An empty password, because OpenSSL would ask for one on the terminal and wait for ever.
            context.load_cert_chain(certificate, self.key_file, password=lambda: b"")
        except ssl.SSLError as error:
            raise SettingsError(
                f"{certificate} and {self.key_file or certificate} are no certificate with its unencrypted "
                "key in PEM; mend broker.tls.certificate_file and broker.tls.key_file"
            ) from error


def _unreadable(name: str, path: Path, error: OSError) -> SettingsError:
    return SettingsError(f"{path} cannot be read ({error.strerror}); mend broker.tls.{name}")


def explained(error: Exception, host: str, tls: TlsFiles | None) -> str:
    """Why a connection could not be made, with what to look at or mend."""
    if isinstance(error, ssl.SSLCertVerificationError):
        why = error.verify_message
        if "mismatch" in why or "not valid for" in why:
            return f"its certificate is not for {host}; let broker.host be the name that the certificate has"
        return f"its certificate is not trusted ({why}); check broker.tls.ca_file and the computer's clock"
    if isinstance(error, ssl.SSLError):
        return f"TLS failed ({error.reason or error}); check that broker.port is the encrypted port"
    if tls is not None and isinstance(error, ConnectionResetError):
        return f"it hung up when we began to encrypt ({error}); check that broker.port is the encrypted port"
    if isinstance(error, ConnectionRefusedError):
        return "nothing listens there; see whether the broker runs"
    reason = error.strerror if isinstance(error, OSError) else None
    return f"{reason or error}; see whether its computer and the network are up"
