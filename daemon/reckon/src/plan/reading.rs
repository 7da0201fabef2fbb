//! A description on its way to a plan: each table becomes its part, what is missing is assumed and said.

use alloc::{borrow::ToOwned, format, string::String, vec::Vec};

use super::{
    ageing::{self, Left, Life},
    assumption::Assumption,
    converter::Converter,
    given::{FAULTS, Given, Known, Place, PlanFault},
    keying::{Mode, Radio, RadioClass},
    keys,
    spec::{Doing, Feeds, Plan, PlanBank, Stretch},
    sun::{self, CLOUD_UNSAID, Charge, DAYLIGHT_UNSAID_H, Light, Panel, Sun},
    wire::{BOARD_SUPPLY, Gauge, Lead, Wire},
};
use crate::{
    bank::{BankDescription, BankFault, BankSpec, Cells, Start},
    draw::{self, BoardModel, ModelFrom},
    engine::{UsualDraw, UsualDraws},
    estimator::{Learned, LoadPrior, SOME_BOARD_W},
    units::{Amps, Celsius, Ohms, Share, Volts, Watts},
    words,
};

/// Where nobody says how warm it is.
const TEMPERATE: Celsius = Celsius::of(15.0);
/// Where nobody says when noon is: an outing begins in the morning (common practice, no source).
const NOON_IN_H: f64 = 3.0;
/// Where nobody says how busy the processor is (common practice, no source: logging, a hotspot).
const SOMEWHAT_BUSY: f64 = 0.15;
/// A radio is meant for 12 V: from here on the pack's own volts count, else those of a usual pack (common practice,
/// no source: four cells of LiFePO4).
const LEAST_RADIO_V: f64 = 6.0;
const USUAL_RADIO_V: f64 = 12.8;

/// A description on its way to a plan.
pub(super) struct Reading<'a> {
    tables: Vec<(String, usize)>,
    given: Vec<(Place, Given)>,
    faults: Vec<PlanFault>,
    assumed: Vec<Assumption>,
    known: &'a Known,
}

impl<'a> Reading<'a> {
    pub(super) const fn new(
        tables: Vec<(String, usize)>,
        given: Vec<(Place, Given)>,
        faults: Vec<PlanFault>,
        known: &'a Known,
    ) -> Self {
        Self { tables, given, faults, assumed: Vec::new(), known }
    }

    /// What was wrong, and what was assumed.
    pub(super) fn done(self) -> (Vec<PlanFault>, Vec<Assumption>) {
        (self.faults, self.assumed)
    }

    /// The plan; to be leant on only if nothing was wrong.
    pub(super) fn plan(&mut self) -> Plan {
        let banks = self.banks();
        let radios = banks.iter().find(|bank| bank.feeds != Feeds::Board);
        let load = self.load(radios.map(|bank| &bank.spec));
        let through = banks.first().and_then(|bank| self.through(&bank.spec, &load));
        let lead = self.lead();
        let sun = banks.first().and_then(|bank| self.sun(&bank.spec));
        let named: Vec<&str> = banks.iter().map(|bank| bank.spec.name.as_str()).collect();
        let stretches = self.stretches(&named);
        let planned_h: f64 = stretches.iter().map(|stretch| stretch.hours).sum();
        let by_watts = |a: &&(String, UsualDraw), b: &&(String, UsualDraw)| {
            a.1.watts.si().total_cmp(&b.1.watts.si())
        };
        let own = self.known.usual.iter().filter(|(bank, _)| named.contains(&bank.as_str()));
        let quietest = own.flat_map(|(_, usual)| usual).min_by(by_watts).cloned();
        let finish_h = self.number("", 0, "finish_h").unwrap_or(planned_h);
        let reserve_h = self.number("", 0, "reserve_h").unwrap_or(0.0);
        Plan { banks, load, through, lead, sun, quietest, stretches, finish_h, reserve_h }
    }

    fn banks(&mut self) -> Vec<PlanBank> {
        let count = self.count("bank");
        if count == 0 {
            self.fault("bank", 0, "label_mah", words::plan::NO_BANK.to_owned());
        }
        (0..count).filter_map(|nth| self.bank(nth)).collect()
    }

    fn bank(&mut self, nth: usize) -> Option<PlanBank> {
        let (mut spec, learned) = match self.text("bank", nth, "known") {
            Some(name) => self.known_bank(nth, &name)?,
            None => (self.described_bank(nth)?, Learned::default()),
        };
        match self.number("", 0, "ambient_c").map(Celsius::of).or(spec.ambient) {
            None => self.assume(Assumption::Temperate),
            some => spec.ambient = some,
        }
        let start = self.level("bank", nth).or_else(|| self.level("", 0));
        let start = start.unwrap_or_else(|| {
            self.assume(Assumption::Full);
            Start::Full
        });
        let feeds = self.text("bank", nth, "feeds").and_then(|name| Feeds::named(&name));
        let together = matches!(self.at("bank", nth, "together"), Some(Given::Flag(true)));
        let depth = self.number("bank", nth, "depth");
        if depth.is_none() && spec.cells == Cells::LeadAcid {
            self.assume(Assumption::ToTheEnd);
        }
        let depth = depth.unwrap_or(1.0);
        let feeds = feeds.unwrap_or_default();
        let mass_g = self.number("bank", nth, "mass_g");
        let aged = self.aged(nth, spec.cells).filter(|_| learned.rundowns() == 0);
        Some(PlanBank { spec, start, learned, feeds, together, depth, aged, mass_g })
    }

    /// What age and use left, if either was told; kept full and as warm as a room unless told.
    fn aged(&self, nth: usize, cells: Cells) -> Option<Left> {
        let of = |key: &str| self.number("bank", nth, key);
        let (years, cycles) = (of("age_years"), of("cycles"));
        years.or(cycles)?;
        let life = Life {
            years: years.unwrap_or(0.0),
            kept_at: Share::nearest(of("kept_at").unwrap_or(1.0)),
            warmth: Celsius::of(of("kept_c").unwrap_or(25.0)),
            cycles: cycles.unwrap_or(0.0),
            depth: Share::WHOLE,
        };
        Some(ageing::left(cells, &life))
    }

    fn known_bank(&mut self, nth: usize, name: &str) -> Option<(BankSpec, Learned)> {
        let found = self.known.banks.iter().find(|(spec, _)| spec.name == name).cloned();
        if found.is_none() {
            self.fault("bank", nth, "known", words::plan::no_such_bank(&name));
        }
        for key in BankDescription::KEYS {
            if self.at("bank", nth, key).is_some() {
                self.fault("bank", nth, key, words::plan::KNOWN_OR_TOLD.to_owned());
            }
        }
        found
    }

    fn described_bank(&mut self, nth: usize) -> Option<BankSpec> {
        let described = BankDescription {
            name: self.any_text(nth, "name"),
            cells: self.any_text(nth, "cells"),
            series: self.any_number(nth, "series"),
            label_mah: self.any_number(nth, "label_mah"),
            label_v: self.any_number(nth, "label_v"),
            measured_at: self.any_text(nth, "measured_at"),
            ambient_c: self.any_number(nth, "ambient_c"),
            cutoff_v: self.any_number(nth, "cutoff_v"),
        };
        match described.complete() {
            Ok(spec) => Some(spec),
            Err(faults) => {
                for fault in &faults {
                    self.fault("bank", nth, BankFault::key(fault), words::bank_fault(fault));
                }
                None
            }
        }
    }

    /// What is printed of board and radio. A radio's amperes are meant at the pack's voltage, unless the
    /// plan says at which.
    fn load(&mut self, bank: Option<&BankSpec>) -> LoadPrior {
        let of = |key: &str| self.number("draw", 0, key);
        let (idle, full) = (of("idle_w"), of("full_w"));
        let told = idle.zip(full).map(|(idle, full)| (Watts::of(idle), Watts::of(full)));
        // Behind a USB bank a radio of 12 V has a converter of its own.
        let label_v =
            bank.map(|bank| bank.label_volts.si()).filter(|volts| *volts >= LEAST_RADIO_V);
        let volts = of("radio_v").or(label_v).unwrap_or(USUAL_RADIO_V);
        let radio = |key| of(key).map(|amps| amps * volts);
        let class = self.text("draw", 0, "radio");
        let class = class.and_then(|name| RadioClass::named(&name)).map(RadioClass::middle);
        let of_class = |amps: Option<Amps>| amps.map(|amps| amps.si() * volts);
        let receive = radio("radio_receive_a").or(of_class(class.map(|class| class.receive)));
        let transmit = radio("radio_transmit_a").or(of_class(class.map(|class| class.transmit)));
        if class.is_some() {
            self.assume(Assumption::RadioOfClass);
        }
        match (idle, full) {
            (Some(_), None) => self.missing("draw", 0, "full_w", words::plan::IDLE_AND_FULL),
            (None, Some(_)) => self.missing("draw", 0, "idle_w", words::plan::IDLE_AND_FULL),
            (Some(idle), Some(full)) if full < idle => {
                self.fault("draw", 0, "full_w", words::settings::busy_draws_more(&idle));
            }
            _ => {}
        }
        let board = self.text("bank", 0, "board");
        let kind = board.as_ref().and_then(|name| draw::board_named(name));
        if board.is_some() && kind.is_none() {
            self.fault("bank", 0, "board", words::plan::want_board(&words::settings::BOARD));
        }
        let model = BoardModel::new(kind, told);
        let known = self.known.load;
        let board =
            (model.from != ModelFrom::Generic).then_some((model.idle.si(), model.full.si()));
        let board = board.or(known.idle_w.zip(known.full_w));
        if board.is_none() {
            self.assume(Assumption::SomeBoard);
        }
        LoadPrior {
            idle_w: board.map(|b| b.0),
            full_w: board.map(|b| b.1),
            accessories_w: known.accessories_w,
            radio_receive_w: receive.or(transmit.and(Some(0.0))).or(known.radio_receive_w),
            radio_transmit_w: transmit.or(receive).or(known.radio_transmit_w),
        }
    }

    /// What the converter between bank and board leaves at the board's usual draw.
    fn through(&mut self, bank: &BankSpec, load: &LoadPrior) -> Option<f64> {
        if self.count("converter") == 0 {
            return None;
        }
        if bank.series <= 1 {
            self.fault("converter", 0, "kind", words::plan::OWN_CONVERTER.to_owned());
            return None;
        }
        let kind = self.text("converter", 0, "kind");
        let curve = match self.at("converter", 0, "curve") {
            Some(Given::Numbers(all)) => {
                let points = all.as_chunks().0.iter().map(|[amps, share]| (*amps, *share));
                Some(Converter::Curve(points.collect()))
            }
            _ => None,
        };
        let share = self.number("converter", 0, "efficiency").map(Converter::Share);
        let of_kind = kind.map(|kind| match kind.as_str() {
            "good" => Converter::GOOD,
            "linear" => Converter::Linear,
            _ => Converter::POOR,
        });
        let Some(converter) = curve.or(share).or(of_kind) else {
            self.missing("converter", 0, "kind", words::plan::NO_CONVERTER);
            return None;
        };
        let idle = load.idle_w.unwrap_or(SOME_BOARD_W);
        let board = Watts::of(0.5 * (idle + load.full_w.unwrap_or(idle)));
        let input = converter.input(board, BOARD_SUPPLY, bank.label_volts);
        Some((board.si() / input.si().max(1e-6)).clamp(0.05, 1.0))
    }

    fn lead(&mut self) -> Option<Lead> {
        if self.count("lead") == 0 {
            return None;
        }
        let of = |key: &str| self.number("lead", 0, key);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 40")]
        let gauge = of("mm2").map(Gauge::Mm2).or(of("awg").map(|awg| Gauge::Awg(awg as u8)));
        let Some((gauge, length_m)) = gauge.zip(of("length_m")) else {
            self.missing("lead", 0, "length_m", words::plan::NO_LEAD);
            return None;
        };
        let contacts = Ohms::of(of("contacts_ohm").unwrap_or(0.0));
        let wire = Wire { gauge, length_m, contacts };
        Some(Lead { wire, source: of("source_v").map(Volts::of), peak: of("peak_a").map(Amps::of) })
    }

    /// The panel, on the first bank.
    fn sun(&mut self, bank: &BankSpec) -> Option<Sun> {
        if self.count("sun") == 0 {
            return None;
        }
        let of = |key: &str| self.number("sun", 0, key);
        let Some(rated_w) = of("panel_w") else {
            self.missing("sun", 0, "panel_w", words::plan::NO_PANEL_W);
            return None;
        };
        let flat = Panel::flat(rated_w);
        let panel = Panel {
            tilt_deg: of("tilt_deg").unwrap_or(flat.tilt_deg),
            azimuth_deg: of("facing_deg").unwrap_or(flat.azimuth_deg),
            kept: of("kept").unwrap_or(flat.kept),
            ..flat
        };
        let (limit_w, efficiency) = (of("charge_limit_w"), of("charge_efficiency"));
        let light = self.light()?;
        let air = bank.ambient.unwrap_or(TEMPERATE);
        let usual = Charge::usual(bank.cells, bank.label_energy(), air, limit_w);
        let charge = match efficiency {
            Some(share) => Charge { charger: share, stored: 1.0, ..usual },
            None => usual,
        };
        Sun::new(panel, light, charge, air)
    }

    /// By hours of full sun if they were told, else by place and date.
    fn light(&mut self) -> Option<Light> {
        if let Some(full_sun_h) = self.pair("sun", "full_sun_h") {
            let noon_h = self.number("sun", 0, "noon_in_h").unwrap_or_else(|| {
                self.assume(Assumption::NoonSoon);
                NOON_IN_H
            });
            let daylight_h = DAYLIGHT_UNSAID_H.max(full_sun_h.1);
            return Some(Light::Hours { full_sun_h, noon_s: 3600.0 * noon_h, daylight_h });
        }
        let of = |key: &str| self.number("sun", 0, key);
        let from = self.text("sun", 0, "from").and_then(|text| keys::moment_s(&text));
        let (Some(latitude_deg), Some(longitude_deg), Some(start_unix_s)) =
            (of("latitude_deg"), of("longitude_deg"), from)
        else {
            self.missing("sun", 0, "full_sun_h", words::plan::NO_LIGHT);
            return None;
        };
        let cloud = self
            .pair("sun", "cloud")
            .map(|(low, high)| (Share::nearest(low), Share::nearest(high)));
        let cloud = cloud.unwrap_or_else(|| {
            self.assume(Assumption::AnySky);
            CLOUD_UNSAID
        });
        let place = sun::Place { latitude_deg, longitude_deg };
        Some(Light::Sky { place, start_unix_s, cloud })
    }

    fn stretches(&mut self, banks: &[&str]) -> Vec<Stretch> {
        let count = self.count("stretch");
        if count == 0 {
            self.fault("stretch", 0, "hours", words::plan::NO_STRETCH.to_owned());
        }
        (0..count).map(|nth| self.stretch(nth, banks)).collect()
    }

    fn stretch(&mut self, nth: usize, banks: &[&str]) -> Stretch {
        let Some(hours) = self.number("stretch", nth, "hours") else {
            self.missing("stretch", nth, "hours", words::plan::NO_HOURS);
            return Stretch::of_shares(1.0, 0.0, 0.0);
        };
        let word = |key: &str| self.text("stretch", nth, key);
        let is_on = |key| word(key).is_none_or(|word| word != "off");
        let (board_on, radio_on, display_on) = (is_on("board"), is_on("radio"), is_on("display"));
        let connected = !matches!(self.at("stretch", nth, "connected"), Some(Given::Flag(false)));
        let extra_w = self.number("stretch", nth, "extra_w").unwrap_or(0.0);
        let doing = self.doing(nth, banks);
        Stretch { hours, doing, extra_w, board_on, connected, radio_on, display_on }
    }

    fn doing(&mut self, nth: usize, banks: &[&str]) -> Doing {
        let (busy, sent) =
            (self.number("stretch", nth, "busy"), self.number("stretch", nth, "sent"));
        if let Some(name) = self.text("stretch", nth, "activity") {
            if busy.or(sent).is_some() || self.at("stretch", nth, "mode").is_some() {
                self.fault("stretch", nth, "activity", words::plan::EITHER_OR.to_owned());
            }
            return self.activity(nth, name, banks);
        }
        let busy = busy.unwrap_or_else(|| {
            self.assume(Assumption::SomewhatBusy);
            SOMEWHAT_BUSY
        });
        let mode = self.text("stretch", nth, "mode").and_then(|name| Mode::named(&name));
        let calling = self.number("stretch", nth, "calling");
        let of_mode = mode.map(|mode| {
            let turn = calling.map_or_else(|| mode.usual_turn(), Share::nearest);
            self.radio().map_or_else(|| mode.sent(turn), |radio| radio.sent(mode, turn)).part()
        });
        if calling.is_some() && mode.is_none() {
            self.fault("stretch", nth, "calling", words::plan::CALLING_ALONE.to_owned());
        }
        if mode.is_some() && sent.is_some() {
            self.fault("stretch", nth, "mode", words::plan::MODE_OR_SENT.to_owned());
        }
        Doing::Shares { busy, sent: sent.or(of_mode).unwrap_or(0.0) }
    }

    /// What it drew here before, else what is usual of an activity of that name.
    fn activity(&mut self, nth: usize, name: String, banks: &[&str]) -> Doing {
        let drawn = |(bank, usual): &(String, UsualDraws)| {
            let of_name = usual.iter().find(|(one, _)| one.eq_ignore_ascii_case(&name));
            of_name.map(|(_, usual)| (bank.clone(), *usual))
        };
        let mut drew: Vec<_> = self.known.usual.iter().filter_map(drawn).collect();
        drew.sort_by_key(|(bank, _)| !banks.contains(&bank.as_str()));
        if let Some((bank, usual)) = drew.into_iter().next() {
            if !banks.contains(&bank.as_str()) {
                self.assume(Assumption::DrawnElsewhere(name.clone(), bank));
            }
            return Doing::Activity(name, usual);
        }
        let Some((busy, sent)) = crate::engine::assumed_shares(&name) else {
            self.fault("stretch", nth, "activity", words::plan::no_such_activity(&name));
            return Doing::Shares { busy: 0.0, sent: 0.0 };
        };
        self.assume(Assumption::UsualActivity(name));
        Doing::Shares { busy, sent }
    }

    /// The radio's printed amperes, where both are told.
    fn radio(&self) -> Option<Radio> {
        let of = |key: &str| self.number("draw", 0, key).map(Amps::of);
        let (receive, transmit) = (of("radio_receive_a")?, of("radio_transmit_a")?);
        Some(Radio { receive, transmit, key_up: of("radio_key_up_a") })
    }

    fn at(&self, table: &str, nth: usize, key: &str) -> Option<&Given> {
        let here = |p: &Place| p.nth == nth && p.key == key && p.table == table;
        self.given.iter().find(|(place, _)| here(place)).map(|(_, given)| given)
    }

    fn number(&self, table: &str, nth: usize, key: &str) -> Option<f64> {
        match self.at(table, nth, key) {
            Some(Given::Number(x)) => Some(*x),
            _ => None,
        }
    }

    fn pair(&self, table: &str, key: &str) -> Option<(f64, f64)> {
        match self.at(table, 0, key) {
            Some(Given::Numbers(all)) => Some((*all.first()?, *all.get(1)?)),
            _ => None,
        }
    }

    /// Complains of a key that is not there, unless what stood there was refused.
    fn missing(&mut self, table: &str, nth: usize, key: &str, want: &str) {
        if !self.is_faulty(table, nth, key) {
            self.fault(table, nth, key, want.to_owned());
        }
    }

    fn text(&self, table: &str, nth: usize, key: &str) -> Option<String> {
        match self.at(table, nth, key) {
            Some(Given::Text(text)) => Some(text.clone()),
            _ => None,
        }
    }

    /// For somebody who judges it: what is no number is none of any range.
    fn any_number(&self, nth: usize, key: &str) -> Option<f64> {
        self.at("bank", nth, key).map(|given| match given {
            Given::Number(x) => *x,
            _ => f64::NAN,
        })
    }

    fn any_text(&self, nth: usize, key: &str) -> Option<String> {
        self.at("bank", nth, key).map(|given| match given {
            Given::Text(text) => text.clone(),
            _ => "\0".to_owned(),
        })
    }

    fn level(&self, table: &str, nth: usize) -> Option<Start> {
        match self.at(table, nth, "start")? {
            Given::Text(text) => Start::worded(text),
            Given::Number(x) => Start::worded(&format!("{x}")),
            _ => None,
        }
    }

    /// How many tables of this name there are, empty and refused ones included.
    fn count(&self, table: &str) -> usize {
        let given = self.given.iter().map(|(place, _)| place);
        let all = given.chain(self.faults.iter().map(|fault| &fault.place));
        let all = all.map(|place| (&place.table, place.nth));
        let all = all.chain(self.tables.iter().map(|(name, nth)| (name, *nth)));
        let count = all.filter(|(name, _)| *name == table).map(|(_, nth)| nth + 1).max();
        count.unwrap_or(0).min(keys::most(table))
    }

    fn is_faulty(&self, table: &str, nth: usize, key: &str) -> bool {
        let here = |p: &Place| p.table == table && p.nth == nth && p.key == key;
        self.faults.iter().any(|fault| here(&fault.place))
    }

    fn fault(&mut self, table: &str, nth: usize, key: &str, want: String) {
        let place = Place { table: table.to_owned(), nth, key: key.to_owned() };
        if self.faults.len() < FAULTS {
            self.faults.push(PlanFault { place, want });
        }
    }

    fn assume(&mut self, what: Assumption) {
        if !self.assumed.contains(&what) {
            self.assumed.push(what);
        }
    }
}
