//! The busiest programs, once a minute, on a thread that lives only for that: walking through all
//! processes takes a small board tens of milliseconds.

use std::{
    sync::{Arc, Mutex, PoisonError},
    thread,
    time::Duration,
};

use reckon::{name, reading::Program, time::Mono, words};
use sysinfo::{ProcessRefreshKind, ProcessesToUpdate, System};

use crate::root::Root;

/// Between two walks.
const EVERY: Duration = Duration::from_secs(60);
/// The first walk only sets the marks; the second one, soon after, can tell shares.
const FIRST: Duration = Duration::from_secs(5);
/// Upper limit of kept entries.
const MOST: usize = 8;
/// Programs below this share of a core are not worth a line.
const LEAST: f64 = 0.005;

/// The list and who makes it.
pub(crate) struct Programs {
    real: bool,
    latest: Arc<[Program]>,
    handover: Arc<Mutex<Handover>>,
    walks: u32,
    due: Option<Mono>,
}

/// What goes back and forth between the walks and the sweep.
#[derive(Default)]
struct Handover {
    system: Option<System>,
    ready: Option<Arc<[Program]>>,
    busy: bool,
}

impl Programs {
    /// Nothing is walked through yet.
    pub(crate) fn new(root: &Root) -> Self {
        Self {
            real: root.is_real(),
            latest: Arc::from([]),
            handover: Arc::default(),
            walks: 0,
            due: None,
        }
    }

    /// What has to be said about it.
    pub(crate) fn note(&self) -> Option<String> {
        (!self.real).then(|| words::sensor::PROGRAMS_NOT_LISTED.into())
    }

    /// The latest list; starts a new walk when one is due.
    pub(crate) fn latest(&mut self, at: Mono) -> Arc<[Program]> {
        if self.real && self.due.is_none_or(|due| at >= due) {
            self.due = Some(at.plus(if self.walks == 0 { FIRST } else { EVERY }));
            self.walks = self.walks.saturating_add(1);
            self.walk();
        }
        if self.due.is_some() {
            self.fetch();
        }
        Arc::clone(&self.latest)
    }

    fn fetch(&mut self) {
        // A walk in progress holds no lock, so this never waits.
        let mut handover = self.handover.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(ready) = handover.ready.take() {
            self.latest = ready;
        }
    }

    fn walk(&self) {
        {
            let mut handover = self.handover.lock().unwrap_or_else(PoisonError::into_inner);
            if handover.busy {
                return;
            }
            handover.busy = true;
        }
        let handover = Arc::clone(&self.handover);
        let work = move || {
            let kept = handover.lock().unwrap_or_else(PoisonError::into_inner).system.take();
            let mut system = kept.or_else(|| System::new().ok());
            let list = system.as_mut().map(busiest);
            let mut handover = handover.lock().unwrap_or_else(PoisonError::into_inner);
            *handover = Handover { system, ready: list, busy: false };
        };
        let started = thread::Builder::new().name("program list".into()).spawn(work).is_ok();
        if !started {
            self.handover.lock().unwrap_or_else(PoisonError::into_inner).busy = false;
        }
    }
}

fn busiest(system: &mut System) -> Arc<[Program]> {
    let what = ProcessRefreshKind::nothing().with_cpu().without_tasks();
    system.refresh_processes_specifics(ProcessesToUpdate::All, true, what);
    let mut all: Vec<Program> = system
        .processes()
        .values()
        .map(|process| Program {
            name: name::mended(&process.name().to_string_lossy(), 15),
            cores_busy: f64::from(process.cpu_usage()) / 100.0,
        })
        .filter(|program| program.cores_busy >= LEAST && program.cores_busy.is_finite())
        .collect();
    all.sort_by(|a, b| b.cores_busy.total_cmp(&a.cores_busy).then_with(|| a.name.cmp(&b.name)));
    all.truncate(MOST);
    all.into()
}
