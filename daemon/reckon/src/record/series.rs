//! A stretch of the record, thinned to what a chart can show.

use alloc::vec::Vec;

use super::rows::{Channel, Stats};

/// Asks for a series.
#[derive(Clone, Debug, PartialEq)]
pub struct SeriesAsk {
    /// Of what.
    pub of: Stretch,
    /// Which channels.
    pub channels: Vec<Channel>,
    /// Upper limit of points (2 to 4000).
    pub points: usize,
}

/// A stretch of the record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stretch {
    /// An outing; its first second is 0.
    Outing {
        /// Which.
        id: i64,
        /// From, seconds since it began.
        from_s: f64,
        /// To; infinity for its end.
        to_s: f64,
    },
    /// Everything between two wall times, ms since 1970 UTC; the first is 0. Boots whose wall time
    /// is not known are left out.
    Wall {
        /// From.
        from_ms: i64,
        /// To.
        to_ms: i64,
    },
}

/// A series in even steps; `None` is a gap.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Series {
    /// Length of a step, s.
    pub step_s: f64,
    /// Beginning of each step, s.
    pub t_s: Vec<f64>,
    /// For each asked channel, as long as `t_s`.
    pub channels: Vec<(Channel, Vec<Option<Stats>>)>,
}

impl Series {
    /// A channel's steps; empty where it was not asked for.
    #[must_use]
    pub fn channel(&self, channel: Channel) -> &[Option<Stats>] {
        let found = self.channels.iter().find(|(one, _)| *one == channel);
        found.map_or(&[], |(_, stats)| stats)
    }
}
