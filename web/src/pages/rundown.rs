//! A run-down as a row, on Banks and on the report of its outing.

use reckon::{
    record::RecordedRunDown,
    units::{Celsius, Joules, Seconds, Share, Watts},
    words,
};

use crate::{http::site::Site, pages::outings::local};

/// A run-down as a row with its tap.
pub(crate) struct RunDownRow {
    pub(crate) id: i64,
    pub(crate) lines: [String; 2],
    pub(crate) struck: bool,
    /// The report of its outing, where it has one and is not on it.
    pub(crate) outing: Option<i64>,
    /// Where the tap leads back to: the report's outing.
    pub(crate) back_outing: Option<i64>,
}

/// The row of a run-down; `on` is the outing on whose report it stands.
pub(crate) fn rundown_row(it: &RecordedRunDown, site: &Site, on: Option<i64>) -> RunDownRow {
    let seen = &it.data;
    let lines = words::rundown(&words::RunDownSaid {
        name: seen.name.as_deref(),
        began: local(it.began, site),
        whole: seen.whole,
        at_least: !seen.is_exact(),
        start: seen.start_share.map(Share::nearest),
        lasted: [seen.lasted_s, seen.within_s, seen.before_s].map(Seconds::of),
        delivered: it.delivered_wh().map(Joules::from_wh),
        mean: it.mean_power_w().map(Watts::of),
        measured: seen.measured,
        ambient: seen.ambient_c.map(Celsius::of),
    });
    let outing = it.outing.filter(|_| on.is_none());
    RunDownRow { id: it.id, lines, struck: it.struck, outing, back_outing: on }
}
