//! What pages need of a demonstration: the port [`Demonstration`], filled in by whoever plays it.

use reckon::snapshot::DemoShown;
use serde::Deserialize;

/// What a viewer may ask of a demonstration.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum DemoAsk {
    /// Stand still.
    Pause,
    /// Go on.
    Go,
    /// On to the next part of the day, at once.
    Next,
}

/// Steers a demonstration.
pub trait Demonstration: Send + Sync {
    /// What it shows.
    fn shown(&self) -> DemoShown;
    /// A viewer asks for something.
    fn ask(&self, ask: DemoAsk);
}
