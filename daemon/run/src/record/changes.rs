//! What a person's command changes in the record: checked against what is there, then made into entries.

use std::path::Path;

use history::{Change, Reader, Trouble};
use reckon::{
    adif::Contact,
    bank::BankSpec,
    belief::{Answer, SinceLast},
    contacts,
    estimator::LoadPrior,
    name::{self, NameFault},
    record::{Ending, Origin, Outing, RecordCommand, RecordedBank},
    units::Seconds,
    words,
};

use crate::{
    host::now_text::plain_spaces,
    record::{
        contact_log, import, run_downs,
        side_notes::{TEST, ending_before, ending_key},
        update::RecordUpdate,
    },
};

/// Said when no daemon runs and one is needed.
pub(crate) const NEEDS_RUNNING: &str = words::refusal::NEEDS_RUNNING;

/// Makes commands into entries.
pub(crate) struct Changes<'a> {
    /// The record.
    pub(crate) reader: &'a Reader,
    /// Whether calls of contact logs are kept.
    pub(crate) keep_calls: bool,
    /// Whether this is the running outlast.
    pub(crate) running: bool,
}

impl Changes<'_> {
    /// What a command puts into the record; what the event loop has to know of it goes into `update`.
    pub(crate) fn entries(
        &self,
        command: &RecordCommand,
        load: &LoadPrior,
        update: &mut RecordUpdate,
    ) -> Result<Vec<Change>, String> {
        let entry = match command {
            RecordCommand::TellBank { spec } => {
                let spec = sound(spec)?;
                update.told = Some((spec.name.clone(), spec.clone()));
                Change::Bank(spec)
            }
            RecordCommand::RenameBank { bank, name } => self.renamed(*bank, name, update)?,
            RecordCommand::ForgetBank { bank, forgotten } => {
                let name = self.bank(*bank)?.spec.name;
                Change::BankForgotten { name, forgotten: *forgotten }
            }
            RecordCommand::Strike { rundown, struck } => {
                self.has_rundown(*rundown)?;
                Change::Struck { rundown: *rundown, struck: *struck }
            }
            RecordCommand::Answer { outing, died } => return self.answered(*outing, *died),
            RecordCommand::GoesOn { earlier, goes_on } => {
                update.since = Some(self.goes_on(*earlier, *goes_on)?);
                return Ok(Vec::new());
            }
            RecordCommand::NameOuting { outing, name } => self.named(*outing, name, update)?,
            RecordCommand::Doing { outing, from_s, to_s, activity } => {
                self.doing(*outing, *from_s, *to_s, activity.as_deref())?
            }
            RecordCommand::DoingByContacts { outing, activity } => {
                return self.doing_by_contacts(*outing, activity);
            }
            RecordCommand::DoingBack { outing, id } => return self.doing_back(*outing, *id),
            RecordCommand::StartTest { bank, load } => {
                let spec = self.bank(*bank)?.spec;
                let value = format!("{}\n{}", load.name(), spec.name);
                update.test = Some((spec, *load));
                Change::Choice { key: TEST.to_owned(), value }
            }
            RecordCommand::Import { bank, name, text } => self.imported(*bank, name, text, load)?,
            RecordCommand::Contacts { contacts } => {
                Change::Contacts(contact_log::rows(contacts, self.keep_calls))
            }
            RecordCommand::ForgetContacts { outing } => {
                Change::ContactsForgotten { outing: self.outing(*outing)?.id }
            }
            RecordCommand::StopTest
            | RecordCommand::Mark { .. }
            | RecordCommand::PhoneClock { .. }
            | RecordCommand::SetClock => {
                return Err(NEEDS_RUNNING.to_owned());
            }
        };
        Ok(vec![entry])
    }

    fn bank(&self, id: i64) -> Result<RecordedBank, String> {
        let banks = self.reader.banks().map_err(|why| said(&why))?;
        banks
            .into_iter()
            .find(|bank| bank.id == id)
            .ok_or_else(|| words::refusal::NO_SUCH_BANK.to_owned())
    }

    fn renamed(&self, id: i64, name: &str, update: &mut RecordUpdate) -> Result<Change, String> {
        let old = self.bank(id)?.spec;
        let spec = sound(&BankSpec { name: name.to_owned(), ..old.clone() })?;
        let others = self.reader.banks().map_err(|why| said(&why))?;
        if others.iter().any(|bank| bank.id != id && bank.spec.name == spec.name) {
            return Err(words::refusal::bank_exists(&spec.name));
        }
        let entry = Change::BankRenamed { from: old.name.clone(), to: spec.name.clone() };
        update.told = Some((old.name, spec));
        Ok(entry)
    }

    fn has_rundown(&self, id: i64) -> Result<(), String> {
        let reader = self.reader;
        for bank in reader.banks().map_err(|why| said(&why))? {
            if reader.rundowns(bank.id).map_err(|why| said(&why))?.iter().any(|one| one.id == id) {
                return Ok(());
            }
        }
        Err(words::refusal::NO_SUCH_RUNDOWN.to_owned())
    }

    fn outing(&self, id: i64) -> Result<Outing, String> {
        let found = self.reader.outing(id).map_err(|why| said(&why))?;
        found.ok_or_else(|| words::refusal::NO_SUCH_OUTING.to_owned())
    }

    fn answered(&self, id: i64, died: Option<bool>) -> Result<Vec<Change>, String> {
        let chance = match self.outing(id)?.ending {
            Ending::PowerLost { died } => died,
            Ending::Died => 1.0,
            Ending::Open => {
                return Err(words::refusal::NOT_ENDED.to_owned());
            }
            Ending::SwitchedOff | Ending::Swapped => {
                return Err(words::refusal::END_IS_KNOWN.to_owned());
            }
        };
        let before = ending_before(self.reader, id);
        let key = ending_key(id);
        let Some(died) = died else {
            let Some(died) = before else {
                return Err(words::refusal::END_NOT_SAID.to_owned());
            };
            let forgotten = Change::Choice { key, value: String::new() };
            return Ok(vec![Change::EndingChance { outing: id, died }, forgotten]);
        };
        let kept = Change::Choice { key, value: before.unwrap_or(chance).to_string() };
        Ok(vec![kept, Change::Answered { outing: id, died }])
    }

    /// The outing before the open one, on the same bank: the operator's word counts whatever was
    /// believed.
    fn goes_on(&self, earlier: i64, goes_on: bool) -> Result<(SinceLast, Answer), String> {
        if !self.running {
            return Err(NEEDS_RUNNING.to_owned());
        }
        let reader = self.reader;
        let mut newest = reader.outings(None, 2).map_err(|why| said(&why))?.items.into_iter();
        let (open, before) = (newest.next(), newest.next());
        let (Some(open), Some(before)) = (open, before) else { return Err(not_before()) };
        let since = SinceLast::by_word(&before, &open).filter(|_| before.id == earlier);
        let mut since = since.ok_or_else(not_before)?;
        since.carried.steps = run_downs::steps(reader, before.id);
        Ok((since, answer_of(goes_on)))
    }

    fn doing(
        &self,
        id: i64,
        from_s: f64,
        to_s: f64,
        activity: Option<&str>,
    ) -> Result<Change, String> {
        let outing = self.outing(id)?;
        let off = self.reader.off(id).map_err(|why| said(&why))?;
        let ends_s = outing.lasted_s + off.iter().map(|(from_s, to_s)| to_s - from_s).sum::<f64>();
        if to_s <= 0.0 {
            return Err(words::refusal::NOT_BEGUN.to_owned());
        }
        if from_s >= ends_s {
            let lasted = plain_spaces(&words::span(Seconds::of(ends_s)));
            return Err(words::refusal::was_over(&lasted));
        }
        let activity = activity.map(str::to_owned);
        Ok(Change::Correction { outing: id, from_s, to_s, activity, origin: Origin::Operator })
    }

    /// The minutes of contact count as this activity, in the place of what an earlier such tap said.
    fn doing_by_contacts(&self, id: i64, activity: &str) -> Result<Vec<Change>, String> {
        self.outing(id)?;
        let placed = self.reader.contacts(id).map_err(|why| said(&why))?.contacts;
        let contacts: Vec<Contact> = placed.iter().map(reckon::report::contact).collect();
        let stretches = contacts::stretches(&contacts);
        if stretches.is_empty() {
            return Err(words::refusal::NO_CONTACTS.to_owned());
        }
        let mut entries = self.by_contacts(id)?;
        entries.extend(stretches.iter().map(|(from, to)| Change::Correction {
            outing: id,
            from_s: reckon::report::since_zero_s(*from),
            to_s: reckon::report::since_zero_s(*to),
            activity: Some(activity.to_owned()),
            origin: Origin::Contacts,
        }));
        Ok(entries)
    }

    /// What takes back all that came from the contact log.
    fn by_contacts(&self, id: i64) -> Result<Vec<Change>, String> {
        let doings = self.reader.corrections(id).map_err(|why| said(&why))?;
        let from_log = doings.into_iter().filter(|it| it.origin == Origin::Contacts);
        Ok(from_log.map(|it| Change::CorrectionForgotten { id: it.id }).collect())
    }

    fn doing_back(&self, id: i64, one: Option<i64>) -> Result<Vec<Change>, String> {
        self.outing(id)?;
        let Some(one) = one else { return self.by_contacts(id) };
        let doings = self.reader.corrections(id).map_err(|why| said(&why))?;
        if doings.iter().all(|it| it.id != one) {
            return Err(words::refusal::NO_SUCH_CORRECTION.to_owned());
        }
        Ok(vec![Change::CorrectionForgotten { id: one }])
    }

    /// A recording or a list of time stamps, once.
    fn imported(
        &self,
        id: i64,
        name: &str,
        text: &str,
        load: &LoadPrior,
    ) -> Result<Change, String> {
        let bank = self.bank(id)?.spec;
        let name = name::line(name, name::LONGEST).map_err(not_a_name)?;
        let data = import::run_down(&bank, &name, text, load)?;
        let kept = self.reader.rundowns(id).map_err(|why| said(&why))?;
        if let Some(same) = kept.iter().find(|kept| import::is_same(kept, &data)) {
            return Err(words::record::imported_before(&same.id));
        }
        Ok(Change::RunDown { bank: bank.name, outing: None, data })
    }

    fn named(&self, id: i64, name: &str, update: &mut RecordUpdate) -> Result<Change, String> {
        let outing = self.outing(id)?;
        let name = name::line(name, name::LONGEST).map_err(not_a_name)?;
        if outing.ending == Ending::Open {
            update.named = Some(name.clone());
        }
        Ok(Change::OutingRenamed { outing: id, name })
    }
}

/// A sentence; the cause goes to the journal.
pub(crate) fn said(trouble: &Trouble) -> String {
    if let Some(cause) = &trouble.cause {
        tracing::warn!("{}: {cause}", trouble.what);
    }
    trouble.to_string()
}

fn sound(spec: &BankSpec) -> Result<BankSpec, String> {
    let spec = BankSpec { name: spec.name.trim().to_owned(), ..spec.clone() };
    let faults = spec.faults();
    if faults.is_empty() {
        return Ok(spec);
    }
    Err(words::unchanged(&words::bank_faults(&faults)))
}

fn not_a_name(fault: NameFault) -> String {
    words::unchanged(&words::name_fault("The name", fault))
}

const fn answer_of(goes_on: bool) -> Answer {
    if goes_on { Answer::GoesOn } else { Answer::Charged }
}

fn not_before() -> String {
    words::refusal::DOES_NOT_FOLLOW.to_owned()
}

/// Carries out a command straight in the store of this folder, while no daemon runs.
///
/// # Errors
/// A sentence for a person.
pub(crate) fn offline(folder: &Path, command: &RecordCommand) -> Result<(), String> {
    if matches!(command, RecordCommand::StartTest { .. }) {
        return Err(NEEDS_RUNNING.to_owned());
    }
    let changes = Changes { reader: &Reader::new(folder), keep_calls: false, running: false };
    let entries = changes.entries(command, &LoadPrior::default(), &mut RecordUpdate::default())?;
    history::amend(folder, &entries).map_err(|why| said(&why))
}
