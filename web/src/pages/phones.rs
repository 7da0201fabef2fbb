//! The paired phones: the page and its JSON, for those who may change things.

use askama::Template;
use axum::{
    Json,
    extract::State,
    http::HeaderMap,
    response::{IntoResponse, Response},
};
use reckon::words::{self, Local};

use crate::{
    http::{
        door::Reply,
        guard,
        phones::{Listed, TICKET_LASTS},
        site::Site,
    },
    pages::{
        frame::{Frame, shown},
        outings::local,
    },
    wire::phones,
};

#[derive(Template)]
#[template(path = "phones.html")]
struct PhonesPage {
    frame: Frame,
    paired: bool,
    lasts_days: u64,
    phones: Vec<PhoneView>,
    not_kept: Option<String>,
}

struct PhoneView {
    number: u32,
    title: String,
    lines: [String; 2],
    this: bool,
}

/// The page; the list is for those who may change it.
pub(crate) async fn page(State(site): State<Site>, headers: HeaderMap) -> Response {
    let paired = site.may_change(&headers);
    let (listed, not_kept) = site.shown.pairing.phones();
    let this = site.shown.pairing.number(&headers, site.snapshot().at);
    let view = |it: &Listed| phone_view(it, this, &site);
    shown(&PhonesPage {
        frame: Frame::for_request(&site, &headers, "Station"),
        paired,
        lasts_days: TICKET_LASTS.as_secs() / 86_400,
        phones: listed.iter().filter(|_| paired).map(view).collect(),
        not_kept: not_kept.filter(|_| paired),
    })
}

fn phone_view(it: &Listed, this: Option<u32>, site: &Site) -> PhoneView {
    let (phone, now) = (&it.phone, site.snapshot().at);
    let at = |wall| -> Option<Local> { local(wall, site) };
    let used = match it.seen {
        Some(seen) => words::phone_seen(seen.at, now.mono, seen.from),
        None => words::phone_used(at(phone.renewed)),
    };
    PhoneView {
        number: phone.number,
        title: words::phone_title(phone.number, phone.name.as_deref()),
        lines: [words::phone_paired(at(phone.paired)), used],
        this: this == Some(phone.number),
    }
}

/// `GET /api/v1/phones`.
pub(crate) async fn api(State(site): State<Site>, headers: HeaderMap) -> Reply {
    if !site.may_change(&headers) {
        return Err(guard::pair_first());
    }
    let (listed, not_kept) = site.shown.pairing.phones();
    let at = site.snapshot().at;
    let this = site.shown.pairing.number(&headers, at);
    Ok(Json(phones::phones(&listed, this, not_kept.as_deref(), at)).into_response())
}
