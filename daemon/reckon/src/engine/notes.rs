//! What is handed over between sweeps, and what the engine is told beside them.

use alloc::{string::String, sync::Arc, vec::Vec};

use super::{activities::UsualDraws, state::Engine};
use crate::{
    alarm::Edge,
    bank::BankSpec,
    snapshot::{DemoShown, Folded, Footprint, LogState, Switched},
    time::Mono,
};

impl Engine {
    /// Changes of alarms since the last call, oldest first.
    #[must_use]
    pub fn edges(&mut self) -> Vec<Edge> {
        self.alarms.drain()
    }

    /// Folds closed since the last call, oldest first. They belong to the outing that was on, so
    /// they are to be kept before a change of the bank is.
    #[must_use]
    pub fn folds(&mut self) -> Vec<Arc<Folded>> {
        self.folding.drain()
    }

    /// The readings end here: the fold that is being filled is closed.
    pub fn close_fold(&mut self) {
        self.folding.close();
    }

    /// Somebody marked this moment. 'Fan on' or 'fan off' is judged by the draw of the minutes
    /// before and after; others change nothing.
    pub fn note_mark(&mut self, text: &str, at: Mono) {
        self.switches.mark(text, at);
    }

    /// Switched accessories judged since the last call.
    #[must_use]
    pub fn switched(&mut self) -> Vec<Arc<Switched>> {
        self.switches.drain()
    }

    /// What each activity drew on earlier outings of each bank, by the bank's name: in place of all
    /// that was told before.
    pub fn note_usual(&mut self, usual: Vec<(String, UsualDraws)>) {
        self.usual_before = usual;
        self.recall_usual();
    }

    /// Takes what is known of the connected bank's outings.
    pub(super) fn recall_usual(&mut self) {
        let bank = self.on.bank.as_ref().map(|bank| bank.name.as_str());
        let of_bank = self.usual_before.iter().find(|(name, _)| Some(name.as_str()) == bank);
        self.on.activities.note_before(of_bank.map(|(_, usual)| usual.clone()).unwrap_or_default());
        self.usual_at = None;
    }

    /// The demonstration shows another part of its day, or stands still, or goes on.
    pub const fn note_demo(&mut self, shown: DemoShown) {
        self.setup.demo = Some(shown);
    }

    /// How the record is doing, for the snapshots from now on.
    pub fn note_log(&mut self, log: LogState) {
        self.log = log;
    }

    /// Why what was chosen cannot be put on the card at present, for the snapshots from now on.
    pub fn note_unkept(&mut self, unkept: Option<String>) {
        self.unkept = unkept;
    }

    /// What outlast itself costs, for the snapshots from now on.
    pub fn note_footprint(&mut self, footprint: Footprint) {
        self.footprint = footprint;
    }

    /// Sweeps that never came, as whoever schedules them counts; late ones are counted here.
    pub fn note_missed(&mut self, sweeps: u64) {
        self.missed = sweeps;
    }

    /// Banks offered for one tap, for the snapshots from now on.
    pub fn note_bank_choices(&mut self, banks: Vec<BankSpec>) {
        self.bank_choices = banks.into();
    }
}
