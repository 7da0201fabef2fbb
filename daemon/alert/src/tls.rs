//! What an encrypted webhook believes: whose signatures, and what time it is.
//!
//! The roots of the public web are built in, so a board without a folder of certificates can post
//! as well. A board without a clock battery wakes up in the past, where every certificate is not
//! valid yet: the time of the check is therefore the daemon's own, which a phone may have given,
//! and a refusal over dates says whether anybody has set the clock.

use std::{error::Error, fmt, io, sync::Arc, time::Duration};

use reckon::{
    time::{Stamp, Wall},
    words,
};
use reqwest::ClientBuilder;
use rustls::{
    CertificateError, ClientConfig, RootCertStore,
    crypto::ring,
    pki_types::{CertificateDer, UnixTime, pem::PemObject},
    time_provider::{DefaultTimeProvider, TimeProvider},
};

use crate::{Now, calendar::minute};

/// Whether https can be spoken.
pub(crate) const IS_IN: bool = true;

/// Who may sign a server's certificate: those of the public web, or the owner's only.
#[derive(Clone, Debug, Default)]
pub(crate) struct Roots(Option<Arc<RootCertStore>>);

impl Roots {
    /// These and no others.
    pub(crate) fn only(pem: &[u8]) -> Result<Self, String> {
        let mut own = RootCertStore::empty();
        for one in CertificateDer::pem_slice_iter(pem) {
            let one = one.map_err(|why| words::warning::not_certificates(&why))?;
            own.add(one).map_err(|why| words::warning::broken_certificate(&why))?;
        }
        if own.is_empty() {
            return Err(words::warning::NO_CERTIFICATE.to_owned());
        }
        Ok(Self(Some(Arc::new(own))))
    }

    /// A client that checks certificates by the daemon's time.
    pub(crate) fn encrypt(
        &self,
        client: ClientBuilder,
        now: &Now,
    ) -> Result<ClientBuilder, String> {
        let roots = self.0.clone().unwrap_or_else(|| {
            let roots = webpki_roots::TLS_SERVER_ROOTS.to_vec();
            Arc::new(RootCertStore { roots })
        });
        configure(client, roots, Arc::new(OwnTime(Arc::clone(now))))
    }

    /// Why a connection was refused by us, if it was, for a person.
    pub(crate) fn why_refused(&self, why: &reqwest::Error, at: Stamp) -> Option<String> {
        let rustls::Error::InvalidCertificate(wrong) = cause(why)? else {
            return Some(words::warning::no_agreement(&cause(why)?));
        };
        let unset = at.believed().is_none();
        Some(match wrong {
            CertificateError::NotValidYetContext { time, not_before } => {
                let (time, from) = (text(*time), text(*not_before));
                if unset {
                    words::warning::not_yet_valid_unset(&from, &time)
                } else {
                    words::warning::not_yet_valid(&from, &time)
                }
            }
            CertificateError::ExpiredContext { time, not_after } => {
                let (time, until) = (text(*time), text(*not_after));
                if unset {
                    words::warning::expired_unset(&until, &time)
                } else {
                    words::warning::expired(&until, &time)
                }
            }
            CertificateError::NotValidForName | CertificateError::NotValidForNameContext { .. } => {
                words::warning::OTHER_NAME.to_owned()
            }
            CertificateError::UnknownIssuer | CertificateError::BadSignature
                if self.0.is_some() =>
            {
                words::warning::NOT_BY_CA.to_owned()
            }
            CertificateError::UnknownIssuer => words::warning::UNKNOWN_AUTHORITY.to_owned(),
            // What `openssl req -x509` makes, left to itself. The error has no other name here.
            other if format!("{other:?}").contains("CaUsedAsEndEntity") => {
                words::warning::FOR_SIGNING.to_owned()
            }
            other => words::warning::not_accepted(&other),
        })
    }
}

/// The same client, which believes nobody's certificate: for addresses without encryption. Left to
/// itself it would read every root on the board at each start.
pub(crate) fn plain(client: ClientBuilder) -> Result<ClientBuilder, String> {
    configure(client, Arc::new(RootCertStore::empty()), Arc::new(DefaultTimeProvider))
}

fn configure(
    client: ClientBuilder,
    roots: Arc<RootCertStore>,
    time: Arc<dyn TimeProvider>,
) -> Result<ClientBuilder, String> {
    let provider = Arc::new(ring::default_provider());
    let config = ClientConfig::builder_with_details(provider, time)
        .with_safe_default_protocol_versions()
        .map_err(|why| words::warning::no_tls(&why))?
        .with_root_certificates(roots)
        .with_no_client_auth();
    Ok(client.tls_backend_preconfigured(config))
}

/// The complaint of the encryption, down in the chain of causes.
fn cause(why: &reqwest::Error) -> Option<&rustls::Error> {
    let mut next: Option<&(dyn Error + 'static)> = why.source();
    while let Some(one) = next {
        if let Some(found) = one.downcast_ref() {
            return Some(found);
        }
        // What an I/O error carries is not its source; its source is that one's.
        next = match one.downcast_ref::<io::Error>().and_then(io::Error::get_ref) {
            Some(carried) => Some(carried),
            None => one.source(),
        };
    }
    None
}

fn text(time: UnixTime) -> String {
    let ms = i64::try_from(time.as_secs()).unwrap_or(i64::MAX).saturating_mul(1000);
    minute(Wall::from_unix_ms(ms))
}

/// The time as the daemon has it.
struct OwnTime(Now);

impl fmt::Debug for OwnTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("OwnTime")
    }
}

impl TimeProvider for OwnTime {
    fn current_time(&self) -> Option<UnixTime> {
        let ms = u64::try_from((self.0)().wall.unix_ms()).unwrap_or(0);
        Some(UnixTime::since_unix_epoch(Duration::from_millis(ms)))
    }
}
