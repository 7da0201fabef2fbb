//! Who counts as one where seats, tries and turns are counted: an IPv4 address, or the /64 of an
//! IPv6 address. Whoever has one address of a /64 has all of them for the taking (RFC 8981: a host
//! makes itself new ones as it likes); a second IPv4 address at least has to be free in the network.

use std::{
    convert::Infallible,
    net::{IpAddr, Ipv4Addr, SocketAddr},
};

use axum::{
    extract::{ConnectInfo, FromRequestParts},
    http::{Extensions, request::Parts},
};

/// The group of whoever asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Group {
    /// The Unix socket: whoever may open it is on the board, and has no address.
    Socket,
    /// One IPv4 address.
    V4(Ipv4Addr),
    /// The first 64 bits of an IPv6 address.
    V6(u64),
}

impl Group {
    /// The group of this address; without one it is the socket's. An IPv4 address that comes in by
    /// an IPv6 socket (RFC 4291 section 2.5.5.2) is an IPv4 address.
    #[must_use]
    pub fn of(from: Option<IpAddr>) -> Self {
        match from.map(|address| address.to_canonical()) {
            None => Self::Socket,
            Some(IpAddr::V4(address)) => Self::V4(address),
            Some(IpAddr::V6(address)) => {
                let [a, b, c, d, ..] = address.segments().map(u64::from);
                Self::V6(a << 48 | b << 32 | c << 16 | d)
            }
        }
    }

    /// The group of whoever sent a request with these extensions.
    #[must_use]
    pub(crate) fn of_request(extensions: &Extensions) -> Self {
        Self::of(address_of(extensions))
    }
}

/// From where a request came: what the listener put among its extensions; nothing on the socket.
pub(crate) fn address_of(extensions: &Extensions) -> Option<IpAddr> {
    extensions.get::<ConnectInfo<SocketAddr>>().map(|peer| peer.0.ip().to_canonical())
}

/// The same, for a handler.
pub(crate) struct Address(pub(crate) Option<IpAddr>);

impl<S: Sync> FromRequestParts<S> for Address {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(Self(address_of(&parts.extensions)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(address: &str) -> Group {
        Group::of(Some(address.parse().unwrap()))
    }

    #[test]
    fn a_slash_64_is_one_and_so_is_an_ipv4_address() {
        // RFC 3849 and RFC 5737: addresses for documentation.
        assert_eq!(of("2001:db8:0:7::1"), of("2001:db8:0:7:ffff:ffff:ffff:ffff"));
        assert_ne!(of("2001:db8:0:7::1"), of("2001:db8:0:8::1"));
        assert_ne!(of("2001:db8::1"), of("2002:db8::1"));
        assert_ne!(of("192.0.2.7"), of("192.0.2.8"));
        assert_eq!(of("::ffff:192.0.2.7"), of("192.0.2.7"));
        assert_ne!(Group::of(None), of("::"));
        assert_ne!(of("0.0.0.0"), of("::"));
    }

    #[test]
    fn a_request_is_of_the_group_of_its_connection() {
        let mut extensions = Extensions::new();
        assert_eq!(Group::of_request(&extensions), Group::Socket);
        extensions.insert(ConnectInfo(SocketAddr::from(([192, 0, 2, 7], 50_000))));
        assert_eq!(Group::of_request(&extensions), of("192.0.2.7"));
    }
}
