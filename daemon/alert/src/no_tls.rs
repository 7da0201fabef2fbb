//! Stands in for `tls.rs` where outlast is built without encryption.

use reckon::{time::Stamp, words};
use reqwest::ClientBuilder;

use crate::Now;

/// Whether https can be spoken.
pub(crate) const IS_IN: bool = false;

/// Nobody's.
#[derive(Clone, Debug, Default)]
pub(crate) struct Roots(());

impl Roots {
    pub(crate) fn only(_: &[u8]) -> Result<Self, String> {
        Err(words::warning::NO_ENCRYPTION.to_owned())
    }

    #[expect(clippy::unused_self, reason = "as the other one has it")]
    pub(crate) fn encrypt(&self, _: ClientBuilder, _: &Now) -> Result<ClientBuilder, String> {
        Err(words::warning::NO_ENCRYPTION.to_owned())
    }

    #[expect(clippy::unused_self, reason = "as the other one has it")]
    pub(crate) fn why_refused(&self, _: &reqwest::Error, _: Stamp) -> Option<String> {
        None
    }
}

pub(crate) fn plain(client: ClientBuilder) -> Result<ClientBuilder, String> {
    Ok(client)
}
