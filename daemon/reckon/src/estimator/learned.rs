//! What earlier run-downs of a bank taught, as plain data that others can keep on the card.

use alloc::vec::Vec;

use crate::{
    bank::{BankSpec, Start},
    record::RunDown,
};

/// What earlier run-downs taught. The default has learned nothing.
///
/// ```
/// use reckon::bank::{BankSpec, Start};
/// use reckon::estimator::{Estimator, Learned, LoadPrior, Observation};
/// use reckon::record::RunDown;
///
/// let bank = BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() };
/// // Three times from full until it cut out, at 3 W: 28 Wh each time, of 37 on the label.
/// let run_down = |energy_wh| RunDown {
///     whole: true,
///     start_share: Some(1.0),
///     lasted_s: energy_wh / 3.0 * 3600.0,
///     delivered_wh: Some(energy_wh),
///     measured: true,
///     ..RunDown::default()
/// };
/// let learned = Learned::from_rundowns(&bank, [27.8, 28.1, 28.2].map(run_down));
///
/// // The next outing, after its first minute: usable watt-hours at 10 %, 50 % and 90 %.
/// let usable_wh = |learned: &Learned| {
///     let mut outing = Estimator::new(&bank, &LoadPrior::default(), learned, Start::Full);
///     outing.step(&Observation { dt_s: 60.0, watts: Some(3.0), ..Observation::default() });
///     outing.usable_wh().unwrap()
/// };
/// let [low, middle, high] = usable_wh(&learned);
/// assert!((26.5..29.5).contains(&middle), "{middle}");
/// // By its label alone the bank is known much less well.
/// let [least, _, most] = usable_wh(&Learned::default());
/// assert!(high - low < 0.6 * (most - least));
/// ```
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Learned {
    runs: Vec<RunDown>,
}

impl Learned {
    /// Learns from one more run-down. One without energy, without a duration or with broken numbers
    /// is passed over.
    pub fn credit(&mut self, rundown: &RunDown) {
        if rundown.is_sound() {
            self.runs.push(rundown.clone());
        }
    }

    /// Learns afresh from these, oldest first: for starting from a store, and for striking one out.
    /// The bank is taken so that what is kept of a run-down may depend on it.
    #[must_use]
    pub fn from_rundowns(_bank: &BankSpec, runs: impl IntoIterator<Item = RunDown>) -> Self {
        Self { runs: runs.into_iter().filter(RunDown::is_sound).collect() }
    }

    /// All that was learned from, oldest first, as plain data.
    #[must_use]
    pub fn rundowns_data(&self) -> &[RunDown] {
        &self.runs
    }

    /// How many outings it learned from.
    #[must_use]
    pub fn rundowns(&self) -> u32 {
        u32::try_from(self.runs.len()).unwrap_or(u32::MAX)
    }

    /// Whole run-downs from full, which show the whole curve of the rest voltage.
    pub(super) fn full_curves(&self) -> impl DoubleEndedIterator<Item = &RunDown> + Clone {
        self.runs.iter().filter(|r| r.whole && r.start() == Start::Full)
    }
}
