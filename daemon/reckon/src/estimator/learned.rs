//! What earlier run-downs of a bank taught, as plain data that others can keep on the card.

use alloc::vec::Vec;

use crate::bank::{BankSpec, Start};

/// How an outing ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Ending {
    /// The bank cut out: a whole run-down.
    Died,
    /// Switched off, or the bank was taken away, before that: it held at least so much.
    #[default]
    Stopped,
}

/// One finished outing of a bank: all that later forecasts need of it. Plain data; whoever builds
/// one from a store fills what it has and leaves the rest to `..RunDown::default()`.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct RunDown {
    /// Whether the bank died or was only stopped.
    pub ending: Ending,
    /// How full it began.
    pub start: Start,
    /// From connected to the end, s.
    pub lasted_s: f64,
    /// Energy delivered at the sensor, as measured or modelled, Wh.
    pub energy_wh: f64,
    /// Of that, bridged over gaps, Wh.
    pub bridged_wh: f64,
    /// Whether the draw was measured (else modelled).
    pub measured: bool,
    /// Temperature around it, as expected at the time, °C.
    pub ambient_c: Option<f64>,
    /// Rest voltage against energy delivered, `[Wh, V]`, rising in Wh; empty where the cells'
    /// voltage is not seen. At most 64 points.
    pub rest_curve: Vec<[f64; 2]>,
    /// Resistance of bank and lead as seen by the sensor, ohms.
    pub source_ohms: Option<f64>,
    /// Typical peak current, A.
    pub peak_a: Option<f64>,
    /// Mean draw of each half hour, W. At most 256.
    pub half_hours_w: Vec<f64>,
    /// What a modelled draw was made of: hours of each part, in an order that only the estimator
    /// knows. At most 16.
    pub work: Vec<f64>,
    /// The processor's rhythm in a timed mode: size (seconds of full processor use) and length (s)
    /// of the burst that follows a slot that was listened to.
    pub burst: Option<[f64; 2]>,
}

impl RunDown {
    /// Mean draw, W.
    #[must_use]
    pub fn mean_w(&self) -> f64 {
        self.energy_wh * 3600.0 / self.lasted_s.max(1.0)
    }

    /// Whether every number can be reckoned with.
    fn sound(&self) -> bool {
        let curve = self.rest_curve.iter().flatten();
        self.energy_wh > 0.0
            && self.lasted_s > 0.0
            && [self.energy_wh, self.lasted_s, self.bridged_wh, self.ambient_c.unwrap_or(0.0)]
                .iter()
                .chain(curve)
                .chain(&self.work)
                .chain(&self.source_ohms)
                .chain(&self.peak_a)
                .chain(self.burst.iter().flatten())
                .all(|x| x.is_finite())
            && self.burst.is_none_or(|b| b[0] > 0.0)
    }
}

/// What earlier run-downs taught. The default has learned nothing.
///
/// ```
/// use reckon::bank::{BankSpec, Start};
/// use reckon::estimator::{Ending, Estimator, Learned, LoadPrior, Observation, RunDown};
///
/// let bank = BankSpec { name: "Blue ten".into(), ..BankSpec::common()[0].clone() };
/// // Three times from full until it cut out, at 3 W: 28 Wh each time, of 37 on the label.
/// let run_down = |energy_wh| RunDown {
///     ending: Ending::Died,
///     start: Start::Full,
///     lasted_s: energy_wh / 3.0 * 3600.0,
///     energy_wh,
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
        if rundown.sound() {
            self.runs.push(rundown.clone());
        }
    }

    /// Learns afresh from these, oldest first: for starting from a store, and for striking one out.
    /// The bank is taken so that what is kept of a run-down may depend on it.
    #[must_use]
    pub fn from_rundowns(_bank: &BankSpec, runs: impl IntoIterator<Item = RunDown>) -> Self {
        Self { runs: runs.into_iter().filter(RunDown::sound).collect() }
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
        self.runs.iter().filter(|r| r.ending == Ending::Died && r.start == Start::Full)
    }
}
