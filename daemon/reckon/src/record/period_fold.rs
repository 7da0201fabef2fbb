//! The draw averaged over the period of a timed mode, for one stretch.

use alloc::{borrow::ToOwned, string::String, vec::Vec};

use crate::{
    fold::{Fold, Kind, MODES, Part, Point},
    snapshot::Folded,
    units::{Joules, Share, Watts},
};

/// What a stretch of record folded into.
#[derive(Clone, Debug, PartialEq)]
pub struct PeriodFold {
    /// Of which stretch: from, seconds since boot (as the reader gives it: since the outing began).
    pub from_s: f64,
    /// To.
    pub to_s: f64,
    /// Seconds of record that it rests on.
    pub seconds: f64,
    /// After this the draw repeats, s.
    pub period_s: f64,
    /// In this one station sends, s.
    pub slot_s: f64,
    /// The mode, if it gave itself away.
    pub mode: Option<String>,
    /// The chance that a draw without any period looks like this.
    pub chance: f64,
    /// Slots with the key down.
    pub sent: u32,
    /// Slots in all.
    pub slots: u32,
    /// Everything taken, J.
    pub energy_j: f64,
    /// Of that by receiving, J.
    pub receive_j: f64,
    /// The key down, on top.
    pub transmit: Option<PeriodFoldPart>,
    /// Decoding, on top.
    pub decode: Option<PeriodFoldPart>,
    /// The mean draw over one period: phase (s) and watts. 120 points at most are kept, to a
    /// hundredth of a second and a milliwatt.
    pub curve: Vec<(f64, f64)>,
}

/// A part of a fold, on top of receiving.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PeriodFoldPart {
    /// What it took, J.
    pub energy_j: f64,
    /// Its draw while it lasts, W.
    pub watts: f64,
    /// Where in the slot it begins, s.
    pub begins_s: f64,
    /// How long it lasts each time, s.
    pub lasts_s: f64,
    /// Partly bridged (see `crate::fold`).
    pub bridged: bool,
}

impl PeriodFold {
    /// Of a stretch that was just folded.
    #[must_use]
    pub fn from_folded(folded: &Folded) -> Self {
        let fold = &folded.fold;
        let part = |kind| fold.part(kind).map(PeriodFoldPart::from_part);
        Self {
            from_s: folded.from.as_s(),
            to_s: folded.to.as_s(),
            seconds: fold.seconds,
            period_s: fold.period_s,
            slot_s: fold.slot_s,
            mode: fold.mode.map(|mode| mode.name.to_owned()),
            chance: fold.chance,
            sent: fold.sent,
            slots: fold.slots,
            energy_j: fold.energy.si(),
            receive_j: fold.part(Kind::Receive).map_or(0.0, |part| part.energy.si()),
            transmit: part(Kind::Transmit),
            decode: part(Kind::Decode),
            curve: fold.curve.iter().map(|point| (point.phase_s, point.watts)).collect(),
        }
    }

    /// As it was folded, but for the place of receiving, which is all of the slot.
    #[must_use]
    pub fn fold(&self) -> Fold {
        let share = |energy_j: f64| Share::nearest(energy_j / self.energy_j.max(1e-9));
        let receive = Part {
            kind: Kind::Receive,
            watts: Watts::of(self.receive_j / self.seconds.max(1.0)),
            time: Share::WHOLE,
            share: share(self.receive_j),
            energy: Joules::of(self.receive_j),
            begins_s: 0.0,
            lasts_s: self.seconds,
            bridged: false,
        };
        let part = |kind, part: PeriodFoldPart| Part {
            kind,
            watts: Watts::of(part.watts),
            time: Share::nearest(part.energy_j / part.watts.max(1e-9) / self.seconds.max(1.0)),
            share: share(part.energy_j),
            energy: Joules::of(part.energy_j),
            begins_s: part.begins_s,
            lasts_s: part.lasts_s,
            bridged: part.bridged,
        };
        let transmit = self.transmit.map(|it| part(Kind::Transmit, it));
        let decode = self.decode.map(|it| part(Kind::Decode, it));
        let named = |name: &str| MODES.iter().find(|mode| mode.name == name);
        Fold {
            period_s: self.period_s,
            slot_s: self.slot_s,
            mode: self.mode.as_deref().and_then(named),
            chance: self.chance,
            curve: self.curve.iter().map(|&(phase_s, watts)| Point { phase_s, watts }).collect(),
            parts: [Some(receive), transmit, decode].into_iter().flatten().collect(),
            seconds: self.seconds,
            energy: Joules::of(self.energy_j),
            sent: self.sent,
            slots: self.slots,
        }
    }
}

impl PeriodFoldPart {
    fn from_part(part: &Part) -> Self {
        Self {
            energy_j: part.energy.si(),
            watts: part.watts.si(),
            begins_s: part.begins_s,
            lasts_s: part.lasts_s,
            bridged: part.bridged,
        }
    }
}
