//! How pages look: three looks, two sheets of style, the scripts, and the policy that lets a browser
//! run nothing else.
//!
//! Now carries style and script within itself, so that the first view needs one round trip; other
//! pages link the same text, and a second sheet that Now does without, each under a name made of its
//! hash, which a browser may keep for ever.

use std::sync::LazyLock;

use axum::{
    http::{HeaderMap, HeaderValue, header},
    response::{IntoResponse, Response},
};

use base64::{Engine, engine::general_purpose::STANDARD};
use reckon::words;
use sha2::{Digest, Sha256};

/// The cookie that keeps the choice.
const COOKIE: &str = "look";

/// A look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Theme {
    /// As the phone prefers: paper in light, dusk in dark.
    Auto,
    /// Dark on light, for the sun.
    Paper,
    /// Light on dark.
    Dusk,
    /// Red on black, for eyes used to the dark.
    Night,
    /// Night in its dimmest step, below the usual contrast: only ever by a tap of the person's own.
    Dimmest,
}

impl Theme {
    /// Those that are chosen among; the dimmest is a step of the night's.
    pub(crate) const ALL: [Self; 4] = [Self::Auto, Self::Paper, Self::Dusk, Self::Night];

    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::Paper => "paper",
            Self::Dusk => "dusk",
            Self::Night => "night",
            Self::Dimmest => "dimmest",
        }
    }

    /// The look among those that are chosen among.
    pub(crate) const fn chosen(self) -> Self {
        if self.is_dimmest() { Self::Night } else { self }
    }

    pub(crate) const fn is_dimmest(self) -> bool {
        matches!(self, Self::Dimmest)
    }

    pub(crate) const fn is_night(self) -> bool {
        matches!(self, Self::Night | Self::Dimmest)
    }

    /// What the button says.
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::Auto => words::theme::AS_THE_PHONE,
            Self::Paper => words::theme::PAPER,
            Self::Dusk => "Dusk",
            Self::Night | Self::Dimmest => words::theme::NIGHT,
        }
    }

    pub(crate) fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().chain([Self::Dimmest]).find(|look| look.name() == name)
    }

    /// The look that the request's cookie asks for.
    pub(crate) fn from_headers(headers: &HeaderMap) -> Self {
        cookie(headers, COOKIE).and_then(Self::named).unwrap_or(Self::Auto)
    }

    /// The header value that keeps this choice for a year.
    pub(crate) fn cookie(self) -> String {
        format!("{COOKIE}={}; Path=/; Max-Age=31536000; SameSite=Strict", self.name())
    }
}

/// The first cookie of this name (RFC 6265 section 4.2.1).
pub(crate) fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs =
        all.flat_map(|value| value.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(of, _)| *of == name).map(|(_, value)| value)
}

/// Style or script: its text, its address as a file, and its hash for the policy.
pub(crate) struct Asset {
    pub(crate) text: &'static str,
    pub(crate) path: &'static str,
    hash: String,
}

impl Asset {
    fn new(text: &'static str, stem: &str, end: &str) -> Self {
        let digest = Sha256::digest(text.as_bytes());
        let short: String = digest.iter().take(6).map(|byte| format!("{byte:02x}")).collect();
        // Once per run: routes want an address that lives as long as the program.
        let path = Box::leak(format!("/look/{stem}-{short}.{end}").into_boxed_str());
        Self { text, path, hash: STANDARD.encode(digest) }
    }
}

static STYLE: LazyLock<Asset> =
    LazyLock::new(|| Asset::new(include_str!("../../assets/style.css"), "style", "css"));
static MORE: LazyLock<Asset> =
    LazyLock::new(|| Asset::new(include_str!("../../assets/more.css"), "more", "css"));
static SCRIPT: LazyLock<Asset> =
    LazyLock::new(|| Asset::new(include_str!("../../assets/live.js"), "live", "js"));
static HELPER: LazyLock<Asset> =
    LazyLock::new(|| Asset::new(include_str!("../../assets/helper.js"), "helper", "js"));
static REPORT: LazyLock<Asset> =
    LazyLock::new(|| Asset::new(include_str!("../../assets/report.js"), "report", "js"));
static POLICY: LazyLock<HeaderValue> = LazyLock::new(|| {
    let policy = format!(
        "default-src 'none'; style-src 'self' 'sha256-{}'; script-src 'self' 'sha256-{}'; \
         img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; \
         frame-ancestors 'none'",
        STYLE.hash, SCRIPT.hash
    );
    HeaderValue::from_str(&policy).unwrap_or(HeaderValue::from_static("default-src 'none'"))
});

pub(crate) fn style() -> &'static Asset {
    &STYLE
}

/// The second sheet, of every page but Now.
pub(crate) fn more() -> &'static Asset {
    &MORE
}

pub(crate) fn script() -> &'static Asset {
    &SCRIPT
}

/// What two pages can do better with a script: the phone's clock, and a file of the phone.
pub(crate) fn helper() -> &'static Asset {
    &HELPER
}

/// What a report can do better with a script: its drawing, read at a touch.
pub(crate) fn report() -> &'static Asset {
    &REPORT
}

/// Content-Security-Policy (W3C CSP Level 3): nothing but our own.
pub(crate) fn policy() -> HeaderValue {
    POLICY.clone()
}

/// The policy of a page that is kept as a single file: its own styles and nothing else. It stands in
/// the file, since a file has no headers.
pub(crate) fn file_policy() -> String {
    format!(
        "default-src 'none'; style-src 'sha256-{}' 'sha256-{}'; base-uri 'none'; \
         form-action 'none'",
        STYLE.hash, MORE.hash
    )
}

fn kept(kind: &'static str, sheet: &'static Asset) -> Response {
    let headers = [
        (header::CONTENT_TYPE, kind),
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    (headers, sheet.text).into_response()
}

pub(crate) async fn style_file() -> Response {
    kept("text/css; charset=utf-8", style())
}

pub(crate) async fn more_file() -> Response {
    kept("text/css; charset=utf-8", more())
}

pub(crate) async fn script_file() -> Response {
    kept("text/javascript; charset=utf-8", script())
}

pub(crate) async fn helper_file() -> Response {
    kept("text/javascript; charset=utf-8", helper())
}

pub(crate) async fn report_file() -> Response {
    kept("text/javascript; charset=utf-8", report())
}
