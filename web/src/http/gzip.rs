//! Gzip (RFC 1952) for every answer that is whole. What is a stream goes as it is.
//!
//! tower-http has a layer for this; it would bring six more crates and a second deflate.

use std::io::Write;

use axum::{
    body::{Body, HttpBody, to_bytes},
    extract::Request,
    http::{HeaderMap, HeaderValue, StatusCode, header},
    middleware::Next,
    response::{IntoResponse, Response},
};
use flate2::{Compression, write::GzEncoder};

/// What is shorter fits into one segment anyway.
const LEAST_BYTES: u64 = 1024;
/// A long export would hold up everybody else while it is packed.
const MOST_BYTES: u64 = 512 * 1024;

/// Packs what comes out, for whoever unpacks it.
pub(crate) async fn pack(request: Request, next: Next) -> Response {
    let wanted = is_wanted(request.headers());
    let mut response = next.run(request).await;
    let length = response.body().size_hint().exact();
    if !length.is_some_and(|length| (LEAST_BYTES..=MOST_BYTES).contains(&length)) {
        return response;
    }
    response.headers_mut().append(header::VARY, HeaderValue::from_static("accept-encoding"));
    if !wanted {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let packed = match to_bytes(body, usize::MAX).await {
        Ok(plain) => gzip(&plain).ok(),
        Err(_) => None,
    };
    let Some(packed) = packed else { return StatusCode::INTERNAL_SERVER_ERROR.into_response() };
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
    Response::from_parts(parts, Body::from(packed))
}

/// At a middling level: the steps above it cost a small board more time than they save on the
/// hotspot.
fn gzip(plain: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut coder = GzEncoder::new(Vec::with_capacity(plain.len() / 3), Compression::new(6));
    coder.write_all(plain)?;
    coder.finish()
}

/// Whether the browser unpacks gzip (RFC 9110 section 12.5.3): named, and not with a weight of 0.
fn is_wanted(headers: &HeaderMap) -> bool {
    headers
        .get_all(header::ACCEPT_ENCODING)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(','))
        .any(|coding| {
            let mut parts = coding.split(';').map(str::trim);
            let named = parts.next().is_some_and(|name| name.eq_ignore_ascii_case("gzip"));
            let weight = parts.find_map(|part| part.strip_prefix("q="));
            named && weight.is_none_or(|weight| weight.parse().unwrap_or(1.0_f32) > 0.0)
        })
}
