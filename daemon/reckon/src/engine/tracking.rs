//! Keeps an estimator for each story that the belief holds possible, all fed with the same
//! readings.

use alloc::{string::String, vec::Vec};

use super::{
    possible::Possible,
    source_select::{Gauge, MeasuredBy, SelectedSource},
    state::Engine,
    tracked_bank::{Site, TrackedBank},
};
use crate::{
    bank::{BankSpec, Cells, MeasuredAt, Start},
    belief::Story,
    draw::ModelFrom,
    estimator::{Estimator, Learned, LoadPrior, Observation},
    forecast::Spread,
    reading::BoardReading,
    snapshot::Supply,
    units::{AmpHours, Joules, Share, Volts},
};

impl Engine {
    /// Sees to it that the estimators follow the bank that is there, with its draw seen where it is
    /// seen now. When that changes they are built anew and told the outing so far.
    pub(super) fn track_bank(&mut self, picked: &SelectedSource, board: &BoardReading) {
        let gauge = picked.gauge;
        let Some((spec, untold)) = self.bank_or_gauge(gauge) else {
            // A gauge that has fallen silent still has its bank; without one there is none.
            self.on.following.retain(|old| old.untold);
            return;
        };
        let site = site(picked.by, &picked.supply, board, &spec);
        self.build(&spec, gauge, site, untold, false);
        // A sensor that sees the draw of a bank says more than a gauge of who knows which cells.
        let speaks = picked.by != MeasuredBy::Sensor || untold;
        for following in &mut self.on.following {
            if speaks {
                following.hear(gauge, &spec);
            } else {
                following.left = None;
            }
        }
    }

    /// Builds the estimators that are missing, or all of them anew, seen where the last one was.
    pub(super) fn follow_anew(&mut self, anew: bool) {
        let Some(spec) = self.on.bank.clone() else { return };
        let site = site(self.latest.by, &self.latest.supply, &self.latest.board, &spec);
        if self.last_sweep.is_some() {
            self.build(&spec, None, site, false, anew);
        } else if anew {
            self.on.following.clear();
        }
    }

    /// Builds what is missing: an estimator for each story, seen at this site. `anew` builds all.
    fn build(
        &mut self,
        spec: &BankSpec,
        gauge: Option<Gauge>,
        site: Site,
        untold: bool,
        anew: bool,
    ) {
        let stories = self.on.belief.stories();
        let wanted: Vec<(Story, Start)> =
            stories.into_iter().map(|story| (story, self.start_of(story, spec, gauge))).collect();
        let before = self.on.following.len();
        self.on.following.retain(|old| {
            !anew
                && same_site(old.site, site)
                && wanted.iter().any(|(story, start)| {
                    *story == old.story && (*story != Story::Said || *start == old.start)
                })
        });
        let mut changed = self.on.following.len() != before;
        for (story, start) in wanted {
            if self.on.following.iter().all(|old| old.story != story) {
                let one = self.follow(story, start, spec, site, untold);
                self.on.following.push(one);
                changed = true;
            }
        }
        if changed {
            self.on.shown.hurry();
            self.usual_at = None;
        }
    }

    /// How full the bank was by a story, when the outing began (or when another bank came).
    fn start_of(&self, story: Story, spec: &BankSpec, gauge: Option<Gauge>) -> Start {
        let told = self.start_of_story(story);
        let level = gauge.and_then(|gauge| gauge.level);
        match (told, level) {
            (Start::Unknown, Some(level)) if spec.measured_at == MeasuredAt::Cells => {
                Start::Part(level)
            }
            (Start::Full, Some(level)) if self.on.bank.is_none() => start_of_level(level),
            (start, _) => start,
        }
    }

    /// The estimator of one story, told the outing so far.
    fn follow(
        &self,
        story: Story,
        start: Start,
        spec: &BankSpec,
        site: Site,
        untold: bool,
    ) -> TrackedBank {
        let measured_at = match site {
            Site::Seen(place) => place,
            Site::Rails => MeasuredAt::Output,
            Site::Nowhere => MeasuredAt::Nowhere,
        };
        let bank = BankSpec { measured_at, ..spec.clone() };
        let learned = self.learned();
        let mut estimator = Estimator::new(&bank, &self.load_prior(), &learned, start);
        let since = self.on.belief.since().filter(|_| story == Story::GoesOn);
        let carried = since.map(|since| since.carried.to_steps()).unwrap_or_default();
        let history = self.count_of(story).meter.history();
        let told_s = carried.iter().chain(&history).map(|step| step.dt_s).sum();
        self.tell_plan_to(&mut estimator, told_s);
        for step in carried {
            estimator.step(&step);
        }
        let stood = estimator.log_evidence();
        for seen in history {
            estimator.step(&seen);
        }
        let learned_from = learned.rundowns();
        TrackedBank { story, estimator, site, start, stood, left: None, untold, learned_from }
    }

    /// The estimator of a story.
    pub(super) fn following(&self, story: Story) -> Option<&TrackedBank> {
        self.on.following.iter().find(|one| one.story == story)
    }

    /// The estimator of the likeliest story.
    pub(super) fn leading(&self) -> Option<&TrackedBank> {
        self.following(self.on.belief.leading().0).or_else(|| self.on.following.first())
    }

    /// Tells the belief how likely each story makes what was seen.
    pub(super) fn weigh_stories(&mut self) {
        for one in &self.on.following {
            self.on.belief.note_evidence(one.story, one.estimator.log_evidence() - one.stood);
        }
    }

    /// The remaining time by every story that no word has ruled out, weighted.
    pub(super) fn remaining(&self) -> Possible {
        self.possible(TrackedBank::remaining)
    }

    /// The same if from now on the draw were this.
    pub(super) fn remaining_at(&self, watts: f64, log_sd: f64) -> Possible {
        self.possible(|one| one.remaining_at(watts, log_sd))
    }

    fn possible(&self, spread: impl Fn(&TrackedBank) -> Option<Spread>) -> Possible {
        let cases = self.on.belief.cases();
        Possible::new(
            cases.into_iter().filter_map(|(story, weight)| {
                Some((story, weight, spread(self.following(story)?)?))
            }),
        )
    }

    /// What earlier run-downs taught, as long as the bank is the one they were of.
    pub(super) fn learned(&self) -> Learned {
        let of = self.setup.bank.as_ref().map(|bank| bank.name.as_str());
        let followed = self.on.bank.as_ref().map(|bank| bank.name.as_str());
        let taught = self.taught.iter().find(|(name, _)| Some(name.as_str()) == followed);
        match taught {
            Some((_, learned)) => learned.clone(),
            None if of == followed => self.setup.learned.clone(),
            None => Learned::default(),
        }
    }

    /// What the run-downs of each bank taught, by the bank's name: in place of all that was told
    /// before. If it changes what is known of the connected bank, its estimate is made afresh from
    /// that and from the outing so far.
    pub fn note_learned(&mut self, taught: Vec<(String, Learned)>) {
        let before = self.learned();
        self.taught = taught;
        let Some(old) = self.on.following.first().filter(|old| !old.untold) else { return };
        let site = old.site;
        if self.learned() != before
            && let Some(bank) = self.on.bank.clone()
        {
            self.build(&bank, None, site, false, true);
        }
    }

    /// The connected bank's owner tells of it anew (another name, other figures): the outing goes
    /// on with it. `false` if it is not the one of that name.
    pub fn note_bank_told(&mut self, name: &str, spec: BankSpec) -> bool {
        if self.on.bank.as_ref().is_none_or(|bank| bank.name != name) {
            return false;
        }
        let same = self.on.bank.as_deref() == Some(&spec);
        self.on.bank = Some(alloc::sync::Arc::new(spec));
        self.on.chosen = true;
        if !same {
            self.on.shown.forget();
            self.follow_anew(true);
        }
        true
    }

    pub(super) fn feed(&mut self, seen: &Observation) {
        for following in &mut self.on.following {
            following.estimator.step(seen);
        }
    }

    /// The bank that was told of, else the one that a gauge knows.
    fn bank_or_gauge(&self, gauge: Option<Gauge>) -> Option<(BankSpec, bool)> {
        if let Some(told) = &self.on.bank {
            return Some(((**told).clone(), false));
        }
        let gauge = gauge?;
        let left = gauge.left.filter(|left| left.si() > 0.0)?;
        Some((spec_of_gauge(left, gauge.level, gauge.volts)?, true))
    }

    /// What is printed, or set, about the things that draw.
    #[must_use]
    pub fn load_prior(&self) -> LoadPrior {
        let radio = self.setup.radio;
        let known = self.board.from != ModelFrom::Generic;
        LoadPrior {
            idle_w: known.then(|| self.board.idle.si()),
            full_w: known.then(|| self.board.full.si()),
            accessories_w: self.besides.accessories.si(),
            radio_receive_w: radio.map(|_| self.besides.receive.si()),
            radio_transmit_w: radio.map(|_| self.besides.transmit.si()),
        }
    }
}

/// Where the draw of this bank is seen by what was read last.
fn site(by: MeasuredBy, supply: &Supply, board: &BoardReading, spec: &BankSpec) -> Site {
    match by {
        MeasuredBy::Sensor | MeasuredBy::Gauge => Site::Seen(place(spec, supply.volts.ok())),
        MeasuredBy::Nobody if board.rails_at_least.is_ok() => Site::Rails,
        MeasuredBy::Nobody => Site::Nowhere,
    }
}

/// A told place stays; where 'nowhere' was told and a sensor has turned up after all, the place
/// follows from the voltage that it reads.
fn place(spec: &BankSpec, volts: Option<Volts>) -> MeasuredAt {
    if spec.measured_at != MeasuredAt::Nowhere {
        return spec.measured_at;
    }
    let (low, high) = match spec.cells {
        Cells::LiIon => (2.5, 4.4),
        Cells::LiFePo4 => (2.0, 3.7),
        Cells::LeadAcid => (1.6, 2.5),
    };
    let series = f64::from(spec.series);
    let fits = volts.is_some_and(|v| (low * series..=high * series).contains(&v.si()));
    if fits { MeasuredAt::Cells } else { MeasuredAt::Output }
}

/// The place that was guessed from a voltage once is not guessed again every second.
const fn same_site(old: Site, new: Site) -> bool {
    matches!(
        (old, new),
        (Site::Seen(_), Site::Seen(_))
            | (Site::Rails, Site::Rails)
            | (Site::Nowhere, Site::Nowhere)
    )
}

fn start_of_level(level: Share) -> Start {
    Start::Part(Share::nearest(level.part().max(0.02)))
}

/// A bank as a gauge describes it: lithium cells that hold so much when full.
fn spec_of_gauge(left: Joules, level: Option<Share>, volts: Option<Volts>) -> Option<BankSpec> {
    let full = left.wh() / level.map_or(1.0, |level| level.part().max(0.02));
    let cells = volts.map_or(1.0, |volts| libm::round(volts.si() / 3.7).clamp(1.0, 16.0));
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held to 1 to 16 above"
    )]
    let series = cells as u8;
    let label_volts = Volts::of(3.7 * cells);
    let label = AmpHours::new(full / label_volts.si()).filter(|label| label.si() > 0.0)?;
    Some(BankSpec {
        name: String::new(),
        cells: Cells::LiIon,
        series,
        label,
        label_volts,
        measured_at: MeasuredAt::Cells,
        ambient: None,
        cutoff: None,
    })
}
