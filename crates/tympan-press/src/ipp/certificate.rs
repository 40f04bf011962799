//! Encrypted connections, with the printer's certificate known by its fingerprint.
//!
//! A desk printer signs its own certificate, so no authority vouches for it. A person is asked
//! once, and from then on only that very certificate is taken.

use std::fmt;
use std::io::{Read, Write};
use std::str::FromStr;
use std::sync::{Arc, Mutex, PoisonError};

use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::{CryptoProvider, verify_tls12_signature, verify_tls13_signature};
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::{ClientConfig, ClientConnection, DigitallySignedStruct, SignatureScheme, StreamOwned};
use sha2::{Digest, Sha256};
use ureq::unversioned::transport::{
    Buffers, ConnectionDetails, Connector, Either, LazyBuffers, NextTimeout, Transport,
    TransportAdapter,
};

/// The SHA-256 of a certificate, by which a person can tell it on the printer's own page.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Fingerprint([u8; 32]);

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, byte) in self.0.iter().enumerate() {
            let colon = if at == 0 { "" } else { ":" };
            write!(f, "{colon}{byte:02X}")?;
        }
        Ok(())
    }
}

impl fmt::Debug for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self}")
    }
}

impl FromStr for Fingerprint {
    type Err = String;

    /// Reads 64 hexadecimal digits, with or without colons or blanks between them.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let digits: Vec<u8> = text
            .chars()
            .filter(|c| !matches!(c, ':' | ' '))
            .map(|c| c.to_digit(16).map(|digit| digit as u8))
            .collect::<Option<_>>()
            .unwrap_or_default();
        if digits.len() != 64 {
            return Err(
                "a fingerprint is 64 hexadecimal digits, as Tympan shows it for the printer".into(),
            );
        }
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(digits.chunks(2)) {
            *byte = pair[0] << 4 | pair[1];
        }
        Ok(Self(bytes))
    }
}

/// What the last printer showed that was not the one expected.
#[derive(Clone, Debug, Default)]
pub(crate) struct Shown(Arc<Mutex<Option<Fingerprint>>>);

impl Shown {
    pub(crate) fn take(&self) -> Option<Fingerprint> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).take()
    }

    fn put(&self, fingerprint: Fingerprint) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(fingerprint);
    }
}

/// Takes the one certificate that is known.
#[derive(Debug)]
struct Pinned {
    known: Option<Fingerprint>,
    shown: Shown,
    crypto: Arc<CryptoProvider>,
}

impl ServerCertVerifier for Pinned {
    fn verify_server_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        _intermediates: &[CertificateDer<'_>],
        _server_name: &ServerName<'_>,
        _ocsp_response: &[u8],
        _now: UnixTime,
    ) -> Result<ServerCertVerified, rustls::Error> {
        let shown = Fingerprint(Sha256::digest(end_entity.as_ref()).into());
        if self.known == Some(shown) {
            return Ok(ServerCertVerified::assertion());
        }
        self.shown.put(shown);
        Err(rustls::CertificateError::UnknownIssuer.into())
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, rustls::Error> {
        verify_tls12_signature(
            message,
            cert,
            dss,
            &self.crypto.signature_verification_algorithms,
        )
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, rustls::Error> {
        verify_tls13_signature(
            message,
            cert,
            dss,
            &self.crypto.signature_verification_algorithms,
        )
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        self.crypto
            .signature_verification_algorithms
            .supported_schemes()
    }
}

/// Puts TLS around the connections of `https`.
pub(crate) struct PinnedTls {
    config: Arc<ClientConfig>,
}

impl fmt::Debug for PinnedTls {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("PinnedTls")
    }
}

impl PinnedTls {
    pub(crate) fn new(known: Option<Fingerprint>, shown: Shown) -> Self {
        let crypto = Arc::new(rustls::crypto::ring::default_provider());
        let verifier = Pinned {
            known,
            shown,
            crypto: Arc::clone(&crypto),
        };
        let config = ClientConfig::builder_with_provider(crypto)
            .with_protocol_versions(rustls::ALL_VERSIONS)
            .expect("the provider knows the versions of TLS")
            .dangerous()
            .with_custom_certificate_verifier(Arc::new(verifier))
            .with_no_client_auth();
        Self {
            config: Arc::new(config),
        }
    }
}

impl<In: Transport> Connector<In> for PinnedTls {
    type Out = Either<In, TlsTransport>;

    fn connect(
        &self,
        details: &ConnectionDetails,
        chained: Option<In>,
    ) -> Result<Option<Self::Out>, ureq::Error> {
        let Some(transport) = chained else {
            return Ok(None);
        };
        if !details.needs_tls() {
            return Ok(Some(Either::A(transport)));
        }
        let host = details.uri.host().unwrap_or_default();
        let bare = host.trim_start_matches('[').trim_end_matches(']');
        let name = ServerName::try_from(bare.to_owned())
            .map_err(|_| ureq::Error::Tls("the printer's name cannot stand in a certificate"))?;
        let io = |e: rustls::Error| ureq::Error::Io(std::io::Error::other(e));
        let mut conn = ClientConnection::new(Arc::clone(&self.config), name).map_err(io)?;
        let mut sock = TransportAdapter::new(transport.boxed(), details.current_time.clone());
        sock.set_timeout(details.timeout);
        conn.complete_io(&mut sock)?;
        let buffers = LazyBuffers::new(
            details.config.input_buffer_size(),
            details.config.output_buffer_size(),
        );
        Ok(Some(Either::B(TlsTransport {
            buffers,
            stream: StreamOwned { conn, sock },
        })))
    }
}

pub(crate) struct TlsTransport {
    buffers: LazyBuffers,
    stream: StreamOwned<ClientConnection, TransportAdapter>,
}

impl fmt::Debug for TlsTransport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("TlsTransport")
    }
}

impl Transport for TlsTransport {
    fn buffers(&mut self) -> &mut dyn Buffers {
        &mut self.buffers
    }

    fn transmit_output(&mut self, amount: usize, timeout: NextTimeout) -> Result<(), ureq::Error> {
        self.stream.get_mut().set_timeout(timeout);
        self.stream.write_all(&self.buffers.output()[..amount])?;
        Ok(())
    }

    fn await_input(&mut self, timeout: NextTimeout) -> Result<bool, ureq::Error> {
        self.stream.get_mut().set_timeout(timeout);
        let amount = self.stream.read(self.buffers.input_append_buf())?;
        self.buffers.input_appended(amount);
        Ok(amount > 0)
    }

    fn is_open(&mut self) -> bool {
        self.stream.get_mut().get_mut().is_open()
    }

    fn is_tls(&self) -> bool {
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fingerprint_reads_back_as_it_is_shown() {
        let shown = Fingerprint(std::array::from_fn(|at| (at * 7) as u8));
        assert_eq!(shown.to_string().parse(), Ok(shown));
        let plain = shown.to_string().replace(':', "").to_lowercase();
        assert_eq!(plain.parse(), Ok(shown));
        assert!("12:34".parse::<Fingerprint>().is_err());
        assert!("".parse::<Fingerprint>().is_err());
        assert!("g".repeat(64).parse::<Fingerprint>().is_err());
    }
}
