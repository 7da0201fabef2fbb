//! What the processor's load takes, as the fit stood.

use crate::energy_tally::RegressionLine;

/// The fit of the draw to the processor's load, as it last stood in a stretch of an outing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoadLine {
    /// Of which stretch: from, seconds since boot (as the reader gives it: since the outing began).
    pub from_s: f64,
    /// To.
    pub to_s: f64,
    /// Draw against load, from single seconds; its pairs are minutes. `None`: nothing could be told.
    pub line: Option<RegressionLine>,
}
