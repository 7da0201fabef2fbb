//! The record worker: one thread that does what takes the card's time, one job after the other, so that a
//! slow card delays no reading: it writes what was chosen, changes the record when a person asks,
//! credits run-downs and does the learning again.

use std::{
    path::{Path, PathBuf},
    sync::{
        Arc,
        mpsc::{Receiver, SyncSender},
    },
};

use history::{Change, Reader, Trouble, Writer, time_stamp_import};
use reckon::{
    adif::Contact,
    bank::BankSpec,
    belief::{
        Answer, SinceLast,
        last_end::{HowEnded, start_of},
    },
    contacts,
    engine::{Carried, Refusal, UsualDraws},
    estimator::{Learned, LoadPrior, Observation},
    record::{Ending, Origin, Outing, RecordedBank},
    units::{Joules, Seconds},
    words,
};
use tokio::sync::oneshot;
use web::{RecordCommand, TestLoad};

use crate::{
    event_loop::Event,
    host::now_text::plain_spaces,
    record::{
        choices_file::{self, ChoicesFile},
        contact_log::{self, ContactLog},
        report::{self, Drawn},
        run_downs,
    },
};

/// The run-down test that is on, in the record's choices.
pub(crate) const TEST: &str = "rundown_test";
/// How likely an empty bank had seemed before the operator said how an outing ended, in the record's
/// choices: the chance, under this and the outing's number.
const ENDING_BEFORE: &str = "ending_before";
/// Said when no daemon runs and one is needed.
pub(crate) const NEEDS_RUNNING: &str = "Only the running outlast can do this. Start it with \
                                        `outlast run`, or as a service: sudo systemctl start \
                                        outlast";
/// Longest name of a bank or an outing, characters.
const LONGEST_NAME: usize = 64;

/// What there is to do.
pub(crate) enum Task {
    /// Writes what was chosen, then answers whoever waits for it.
    WriteChoices {
        /// What.
        kept: Box<ChoicesFile>,
        /// Who waits.
        answer: Option<oneshot::Sender<Result<(), Refusal>>>,
    },
    /// Changes the record, then answers.
    Command {
        /// What is asked for.
        ask: RecordCommand,
        /// What draws here, for a list that says how long and not how much.
        load: LoadPrior,
        /// Who waits.
        answer: oneshot::Sender<Result<(), String>>,
    },
    /// Credits what is due and tells what the record teaches.
    UpdateLearning(LoadPrior),
    /// Looks whether the watched contact log has changed.
    LookAtLog,
}

/// What the record worker tells the event loop.
#[derive(Debug, Default)]
pub(crate) struct RecordUpdate {
    /// What the record teaches of each bank, by its name.
    pub(crate) learned_by_bank: Vec<(String, Learned)>,
    /// What activities drew on earlier outings, by the bank's name.
    pub(crate) usual: Vec<(String, UsualDraws)>,
    /// Banks of the record that are offered.
    pub(crate) offered: Vec<BankSpec>,
    /// Names of banks that are not to be offered.
    pub(crate) forgotten: Vec<String>,
    /// How the outing before ended, where its power went away.
    pub(crate) last_ended: Option<HowEnded>,
    /// The operator says whether the open outing is the rest of this one.
    pub(crate) since: Option<(SinceLast, Answer)>,
    /// A bank was told of anew: its name till then, and what it is now.
    pub(crate) told: Option<(String, BankSpec)>,
    /// The open outing was given a name.
    pub(crate) named: Option<String>,
    /// A run-down test begins on this bank.
    pub(crate) test: Option<(BankSpec, TestLoad)>,
}

/// What changes the record.
pub(crate) enum RecordWriter {
    /// The running daemon's.
    Writer(Arc<Writer>),
    /// No daemon runs: straight into the store of this folder.
    Offline(PathBuf),
}

impl RecordWriter {
    fn change(&self, entries: Vec<Change>) -> Result<(), Trouble> {
        match self {
            Self::Writer(writer) => writer.change(entries),
            Self::Offline(folder) => history::amend(folder, &entries),
        }
    }
}

/// Does the jobs.
pub(crate) struct RecordWorker {
    /// Where the choices are kept.
    pub(crate) folder: PathBuf,
    /// The record, if one is kept.
    pub(crate) pen: Option<RecordWriter>,
    /// The event loop.
    pub(crate) events: SyncSender<Event>,
    /// Contact logs.
    pub(crate) log: ContactLog,
}

impl RecordWorker {
    /// Does one job after the other until nobody gives any more.
    pub(crate) fn work(mut self, jobs: Receiver<Task>) {
        let mut said_well = false;
        let mut drew = Drawn::default();
        for job in jobs {
            match job {
                Task::WriteChoices { kept, answer } => self.keep(&kept, answer, &mut said_well),
                Task::Command { ask, load, answer } => {
                    let done = self.ask(&ask, &load);
                    if puts_doing_right(&ask) {
                        drew = Drawn::default();
                    }
                    // Whoever asked may have gone meanwhile.
                    let _ = answer.send(done.map(|news| self.tell(news, &load, &mut drew)));
                }
                Task::UpdateLearning(load) => self.tell(RecordUpdate::default(), &load, &mut drew),
                Task::LookAtLog => self.look_at_log(),
            }
        }
    }

    fn keep(
        &self,
        kept: &ChoicesFile,
        answer: Option<oneshot::Sender<Result<(), Refusal>>>,
        said_well: &mut bool,
    ) {
        let outcome = choices_file::save(&self.folder, kept).map_err(|why| {
            format!(
                "What is chosen cannot be kept in {}: {why}. Readings and forecast go on, but a \
                 restart will not know the bank and the finish. Make room on the card or make \
                 the folder writable",
                self.folder.display()
            )
        });
        if let Some(answer) = answer {
            // Carried out in any case; whoever asked may have gone meanwhile.
            let _ = answer.send(Ok(()));
        }
        if outcome.is_err() || !*said_well {
            let well = outcome.is_ok();
            // A full queue or an event loop that has ended: the next job says it again.
            *said_well = self.events.try_send(Event::ChoicesWritten(outcome)).is_ok() && well;
        }
    }

    /// Credits what is due, reads what the record teaches, and tells the event loop.
    fn tell(&self, mut news: RecordUpdate, load: &LoadPrior, drew: &mut Drawn) {
        let Some(pen) = &self.pen else { return };
        let reader = self.reader();
        if let Err(trouble) = update_learning(pen, &reader, load, &mut news) {
            tracing::warn!("{trouble}");
        }
        match drew.usual(&reader) {
            Ok(usual) => news.usual = usual,
            Err(trouble) => tracing::warn!("{trouble}"),
        }
        // An event loop that has ended learns nothing any more.
        let _ = self.events.send(Event::RecordUpdate(Box::new(news)));
    }

    /// The rows go with the next batch, so that a log that grows all day costs the card no commits
    /// of its own; what a power cut takes of them is read again at the next start.
    fn look_at_log(&mut self) {
        let Some(RecordWriter::Writer(writer)) = &self.pen else { return };
        let looked = self.log.look();
        if !looked.rows.is_empty() {
            writer.give(Change::Contacts(looked.rows));
        }
        let Some((say, trouble)) = looked.news else { return };
        if trouble {
            tracing::warn!("{say}");
        }
        // An event loop that is too busy hears of it with the next change.
        let _ = self.events.try_send(Event::ContactLog(say));
    }

    fn reader(&self) -> Reader {
        Reader::new(&self.folder)
    }

    /// Carries out what a person asks for.
    pub(crate) fn ask(
        &self,
        ask: &RecordCommand,
        load: &LoadPrior,
    ) -> Result<RecordUpdate, String> {
        let Some(pen) = &self.pen else {
            return Err("No record is kept here, so there is nothing to change.".to_owned());
        };
        let mut news = RecordUpdate::default();
        let entries = self.entries(ask, load, &mut news)?;
        pen.change(entries).map_err(|why| said(&why))?;
        Ok(news)
    }

    fn entries(
        &self,
        ask: &RecordCommand,
        load: &LoadPrior,
        news: &mut RecordUpdate,
    ) -> Result<Vec<Change>, String> {
        let entry = match ask {
            RecordCommand::TellBank { spec } => {
                let spec = sound(spec)?;
                news.told = Some((spec.name.clone(), spec.clone()));
                Change::Bank(spec)
            }
            RecordCommand::RenameBank { bank, name } => self.renamed(*bank, name, news)?,
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
                news.since = Some(self.goes_on(*earlier, *goes_on)?);
                return Ok(Vec::new());
            }
            RecordCommand::NameOuting { outing, name } => self.named(*outing, name, news)?,
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
                news.test = Some((spec, *load));
                Change::Choice { key: TEST.to_owned(), value }
            }
            RecordCommand::Import { bank, name, text } => {
                let spec = self.bank(*bank)?.spec;
                imported(spec.name, name, text, load)?
            }
            RecordCommand::Contacts { contacts } => {
                Change::Contacts(contact_log::rows(contacts, self.log.keep_calls))
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
        let banks = self.reader().banks().map_err(|why| said(&why))?;
        banks.into_iter().find(|bank| bank.id == id).ok_or_else(|| {
            "There is no such bank in the record; it may have been told of under another name. \
             Nothing was changed."
                .to_owned()
        })
    }

    fn renamed(&self, id: i64, name: &str, news: &mut RecordUpdate) -> Result<Change, String> {
        let old = self.bank(id)?.spec;
        let spec = sound(&BankSpec { name: name.to_owned(), ..old.clone() })?;
        let others = self.reader().banks().map_err(|why| said(&why))?;
        if others.iter().any(|bank| bank.id != id && bank.spec.name == spec.name) {
            return Err(format!(
                "There is another bank with the name '{}' already. Nothing was changed.",
                spec.name
            ));
        }
        let entry = Change::BankRenamed { from: old.name.clone(), to: spec.name.clone() };
        news.told = Some((old.name, spec));
        Ok(entry)
    }

    fn has_rundown(&self, id: i64) -> Result<(), String> {
        let reader = self.reader();
        for bank in reader.banks().map_err(|why| said(&why))? {
            if reader.rundowns(bank.id).map_err(|why| said(&why))?.iter().any(|one| one.id == id) {
                return Ok(());
            }
        }
        Err("There is no such run-down in the record. Nothing was changed.".to_owned())
    }

    fn outing(&self, id: i64) -> Result<Outing, String> {
        let found = self.reader().outing(id).map_err(|why| said(&why))?;
        found
            .ok_or_else(|| "There is no such outing in the record. Nothing was changed.".to_owned())
    }

    fn answered(&self, id: i64, died: Option<bool>) -> Result<Vec<Change>, String> {
        let chance = match self.outing(id)?.ending {
            Ending::PowerLost { died } => died,
            Ending::Died => 1.0,
            Ending::Open => {
                return Err("This outing has not ended yet. Nothing was changed.".to_owned());
            }
            Ending::SwitchedOff | Ending::Swapped => {
                return Err("How this outing ended is known: no power was lost. Nothing was \
                            changed."
                    .to_owned());
            }
        };
        let before = ending_before(&self.reader(), id);
        let key = ending_key(id);
        let Some(died) = died else {
            let Some(died) = before else {
                return Err(
                    "Nobody has said how this outing ended. Nothing was changed.".to_owned()
                );
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
        if matches!(self.pen, Some(RecordWriter::Offline(_))) {
            return Err(NEEDS_RUNNING.to_owned());
        }
        let reader = self.reader();
        let mut newest = reader.outings(None, 2).map_err(|why| said(&why))?.items.into_iter();
        let (open, before) = (newest.next(), newest.next());
        let (Some(open), Some(before)) = (open, before) else { return Err(not_before()) };
        let same_bank = before.bank.is_some() && open.bank == before.bank;
        if open.ending != Ending::Open || before.id != earlier || !same_bank {
            return Err(not_before());
        }
        let mut since = since_of(&before, run_downs::steps(&reader, before.id));
        since.off = before.ended.zip(open.began).and_then(|(ended, began)| {
            let off_s = u32::try_from(began.unix_ms().checked_sub(ended.unix_ms())? / 1000).ok()?;
            Some(Seconds::of(f64::from(off_s)))
        });
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
        let off = self.reader().off(id).map_err(|why| said(&why))?;
        let ends_s = outing.lasted_s + off.iter().map(|(from_s, to_s)| to_s - from_s).sum::<f64>();
        if to_s <= 0.0 {
            return Err("The outing had not begun then. Nothing was changed.".to_owned());
        }
        if from_s >= ends_s {
            let lasted = plain_spaces(&words::span(Seconds::of(ends_s)));
            return Err(format!(
                "The outing was over by then: it lasted {lasted}. Nothing was changed."
            ));
        }
        let activity = activity.map(str::to_owned);
        Ok(Change::Correction { outing: id, from_s, to_s, activity, origin: Origin::Operator })
    }

    /// The minutes of contact count as this activity, in the place of what an earlier such tap said.
    fn doing_by_contacts(&self, id: i64, activity: &str) -> Result<Vec<Change>, String> {
        self.outing(id)?;
        let placed = self.reader().contacts(id).map_err(|why| said(&why))?.contacts;
        let contacts: Vec<Contact> = placed.iter().map(report::contact).collect();
        let stretches = contacts::stretches(&contacts);
        if stretches.is_empty() {
            return Err(
                "No contact of a log falls into this outing. Nothing was changed.".to_owned()
            );
        }
        let mut entries = self.by_contacts(id)?;
        entries.extend(stretches.iter().map(|(from, to)| Change::Correction {
            outing: id,
            from_s: report::since_zero_s(*from),
            to_s: report::since_zero_s(*to),
            activity: Some(activity.to_owned()),
            origin: Origin::Contacts,
        }));
        Ok(entries)
    }

    /// What takes back all that came from the contact log.
    fn by_contacts(&self, id: i64) -> Result<Vec<Change>, String> {
        let doings = self.reader().corrections(id).map_err(|why| said(&why))?;
        let from_log = doings.into_iter().filter(|it| it.origin == Origin::Contacts);
        Ok(from_log.map(|it| Change::CorrectionForgotten { id: it.id }).collect())
    }

    fn doing_back(&self, id: i64, one: Option<i64>) -> Result<Vec<Change>, String> {
        self.outing(id)?;
        let Some(one) = one else { return self.by_contacts(id) };
        let doings = self.reader().corrections(id).map_err(|why| said(&why))?;
        if doings.iter().all(|it| it.id != one) {
            return Err(
                "There is no such correction in the record. Nothing was changed.".to_owned()
            );
        }
        Ok(vec![Change::CorrectionForgotten { id: one }])
    }

    fn named(&self, id: i64, name: &str, news: &mut RecordUpdate) -> Result<Change, String> {
        let outing = self.outing(id)?;
        let name = name.trim().to_owned();
        if name.chars().count() > LONGEST_NAME {
            return Err("A name may have 64 characters at most. Nothing was changed.".to_owned());
        }
        if outing.ending == Ending::Open {
            news.named = Some(name.clone());
        }
        Ok(Change::OutingRenamed { outing: id, name })
    }
}

/// Whether it changes what was done when on an outing.
const fn puts_doing_right(ask: &RecordCommand) -> bool {
    matches!(
        ask,
        RecordCommand::Doing { .. }
            | RecordCommand::DoingByContacts { .. }
            | RecordCommand::DoingBack { .. }
    )
}

fn said(trouble: &Trouble) -> String {
    if let Some(cause) = &trouble.cause {
        tracing::warn!("{}: {cause}", trouble.what);
    }
    trouble.to_string()
}

fn sound(spec: &BankSpec) -> Result<BankSpec, String> {
    let name = spec.name.trim().to_owned();
    if name.is_empty() {
        return Err("A bank needs a name. Nothing was changed.".to_owned());
    }
    let spec = BankSpec { name, ..spec.clone() };
    match spec.implausible() {
        Some(why) => Err(format!("{why} Nothing was changed.")),
        None => Ok(spec),
    }
}

/// A list of time stamps says how long, not how much: the energy is what the board draws when it
/// does nothing, which is what most such tests did. It counts as modelled.
fn imported(bank: String, name: &str, text: &str, load: &LoadPrior) -> Result<Change, String> {
    let marks = time_stamp_import::read(text).map_err(|why| why.0)?;
    let name = if name.trim().is_empty() { "time stamps" } else { name.trim() };
    let mut data = marks.rundown(name);
    let watts = load.idle_w.map(|idle| idle + load.accessories_w).filter(|watts| *watts > 0.0);
    data.mean_power_w = watts;
    data.delivered_wh = watts.map(|watts| watts * data.lasted_s / 3600.0);
    Ok(Change::RunDown { bank, outing: None, data })
}

fn update_learning(
    pen: &RecordWriter,
    reader: &Reader,
    load: &LoadPrior,
    news: &mut RecordUpdate,
) -> Result<(), Trouble> {
    // What is on its way to the card goes there first: the end of an outing may be among it.
    pen.change(Vec::new())?;
    let due = run_downs::uncredited(reader, load)?;
    if !due.is_empty() {
        pen.change(due)?;
    }
    news.learned_by_bank = run_downs::learned_by_bank(reader)?;
    let (gone, there): (Vec<RecordedBank>, Vec<RecordedBank>) =
        reader.banks()?.into_iter().partition(|bank| bank.forgotten);
    news.offered = there.into_iter().map(|bank| bank.spec).collect();
    news.forgotten = gone.into_iter().map(|bank| bank.spec.name).collect();
    news.last_ended = last_ended(reader)?;
    Ok(())
}

/// How the outing before ended, where its power went away; what a run-down test showed is not asked.
fn last_ended(reader: &Reader) -> Result<Option<HowEnded>, Trouble> {
    let newest = reader.outings(None, 2)?.items;
    let Some(last) = newest.into_iter().find(|outing| outing.ending != Ending::Open) else {
        return Ok(None);
    };
    let outing = last.id;
    let before = ending_before(reader, outing);
    Ok(match (last.ending, before) {
        (Ending::PowerLost { .. }, Some(died)) => {
            Some(HowEnded { outing, died, said: Some(false) })
        }
        (Ending::Died, Some(died)) => Some(HowEnded { outing, died, said: Some(true) }),
        (Ending::PowerLost { died }, None) => Some(HowEnded { outing, died, said: None }),
        _ => None,
    })
}

/// How likely an empty bank had seemed before the operator said how this outing ended.
fn ending_before(reader: &Reader, outing: i64) -> Option<f64> {
    let (choices, wanted) = (reader.choices().ok()?, ending_key(outing));
    let (_, chance) = choices.into_iter().find(|(key, _)| *key == wanted)?;
    chance.parse().ok().filter(|chance| (0.0..=1.0).contains(chance))
}

fn ending_key(outing: i64) -> String {
    format!("{ENDING_BEFORE}_{outing}")
}

fn since_of(before: &Outing, steps: Vec<Observation>) -> SinceLast {
    let carried = Carried {
        outing: before.name.clone(),
        start: start_of(before.start_share),
        span: Seconds::of(before.lasted_s),
        delivered: Joules::from_wh(before.energy_wh.unwrap_or(0.0)),
        bridged: Joules::from_wh(before.bridged_wh.unwrap_or(0.0)),
        steps,
    };
    SinceLast { outing: Some(before.id), by_word: true, ..SinceLast::undated(carried) }
}

const fn answer_of(goes_on: bool) -> Answer {
    if goes_on { Answer::GoesOn } else { Answer::Charged }
}

fn not_before() -> String {
    "The outing that is on does not follow this one on the same bank: another outing lies between, \
     or another bank is connected. Nothing was changed."
        .to_owned()
}

/// The test that the record's choices speak of: its load and the bank's name.
pub(crate) fn test_of(reader: &Reader) -> Option<(TestLoad, String)> {
    let choices = reader.choices().ok()?;
    let (_, value) = choices.into_iter().find(|(key, _)| key == TEST)?;
    let (load, bank) = value.split_once('\n')?;
    let load = TestLoad::ALL.into_iter().find(|one| one.name() == load)?;
    Some((load, bank.to_owned()))
}

/// A record worker for a command while no daemon runs. What it tells goes nowhere.
pub(crate) fn offline(folder: &Path) -> RecordWorker {
    let (events, _) = std::sync::mpsc::sync_channel(1);
    let pen = Some(RecordWriter::Offline(folder.to_path_buf()));
    RecordWorker { folder: folder.to_path_buf(), pen, events, log: ContactLog::default() }
}
