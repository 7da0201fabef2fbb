//! Station: bank, sensors, board, record, clock and pairing.

use askama::Template;
use axum::{extract::State, http::HeaderMap, response::Response};
use reckon::{
    reading::{SourceIx, SourceReport, SourceState},
    snapshot::Snapshot,
    time::Mono,
    units::Seconds,
    words,
};

use crate::{
    ClockCompared, FileSetAside, RecordStatus,
    http::{
        assets::{self, Asset, Theme},
        site::Site,
    },
    pages::{
        frame::{Frame, shown},
        now::bank,
    },
};

struct SourceView<'a> {
    report: &'a SourceReport,
    state: String,
    reads: Option<String>,
    shunt: Option<String>,
    silent: bool,
}

#[derive(Template)]
#[template(path = "station.html")]
struct StationPage<'a> {
    frame: Frame,
    snapshot: &'a Snapshot,
    paired: bool,
    trusted: bool,
    bank_line: String,
    bank: String,
    sources: Vec<SourceView<'a>>,
    board: Vec<(&'static str, String)>,
    record: Vec<String>,
    aside: &'a [FileSetAside],
    warning: Option<&'a str>,
    clock: String,
    phone: Option<String>,
    set_clock: bool,
    script: &'static Asset,
    footprint: Vec<String>,
    looks: [Theme; 4],
    version: &'static str,
}

pub(crate) async fn station(State(site): State<Site>, headers: HeaderMap) -> Response {
    let snapshot = site.snapshot();
    let record_status = site.record_status();
    let paired = site.may_change(&headers);
    let phone = record_status.phone.map(|told| phone(&told, snapshot.at.mono));
    shown(&StationPage {
        frame: Frame::for_request(&site, &headers, "Station"),
        snapshot: &snapshot,
        paired,
        trusted: site.trusted,
        bank_line: words::bank(&snapshot),
        bank: bank(&site.shown.language.bank_form, &snapshot, false),
        sources: sources(&snapshot),
        board: words::board_facts(&snapshot),
        record: record(&snapshot, &record_status),
        aside: &record_status.set_aside,
        warning: record_status.warning.as_deref(),
        clock: words::clock(snapshot.at),
        set_clock: record_status.may_set_clock && phone.is_some(),
        phone,
        script: assets::helper(),
        footprint: words::costs(&snapshot),
        looks: Theme::ALL,
        version: env!("CARGO_PKG_VERSION"),
    })
}

/// How the record is doing.
fn record(snapshot: &Snapshot, record_status: &RecordStatus) -> Vec<String> {
    let mut lines = vec![words::log(snapshot)];
    lines.extend(
        (record_status.used_bytes > 0).then(|| words::record_size(record_status.used_bytes)),
    );
    let stopped = record_status.stopped.is_some();
    lines.extend(words::record_owes(record_status.waiting, record_status.missed, stopped));
    lines.extend(record_status.contact_log.clone());
    lines
}

#[expect(clippy::cast_precision_loss, reason = "milliseconds of any calendar are exact enough")]
fn phone(told: &ClockCompared, now: Mono) -> String {
    let off = Seconds::of(told.board_ahead_ms as f64 / 1000.0);
    let within = Seconds::of(f64::from(told.within_ms) / 1000.0);
    words::clock_compared(off, within, told.at, now)
}

fn sources(snapshot: &Snapshot) -> Vec<SourceView<'_>> {
    snapshot
        .sources
        .iter()
        .enumerate()
        .map(|(ix, report)| SourceView {
            report,
            state: words::source_state(report, snapshot.at.mono),
            reads: u16::try_from(ix)
                .ok()
                .and_then(|ix| words::source_reads(SourceIx(ix), snapshot)),
            shunt: report.shunt.map(|shunt| words::shunt(&shunt)),
            silent: matches!(report.state, SourceState::Silent { .. }),
        })
        .collect()
}
