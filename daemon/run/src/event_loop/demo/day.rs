//! Plays the demonstration's day, and the morning after it, on a clock of its own. What comes of it is
//! the engine's work: here it is only seen how far the day has come, so that time runs slower where
//! there is more to see.

use std::{sync::Arc, time::Duration};

use reckon::{
    alarm::About,
    belief::{Answer, Question, QuestionView},
    engine::Command,
    power_off::{PowerOff, PowerOffAsk},
    snapshot::{DemoPart, DemoShown, Snapshot, Verdict},
    time::Mono,
};
use tokio::sync::{oneshot, watch};
use web::{Demonstration, Request};

use super::{
    MENDED_AFTER_S, Outing, Scene, delivered_wh, outing, scene, steering::Steering, sweep, wish,
};
use crate::{
    event_loop::{event::Event, sampler::Sampler},
    host::clock::{HandClock, pause},
};

/// What of the day has been played already when the page opens, so that there is something to see.
const PLAYED_AT_ONCE_S: u32 = 9000;
/// A countdown that nobody stops is stopped this long before its end, s.
const STOPPED_BEFORE_S: f64 = 30.0;
/// In the morning a question that nobody answers is answered after so long, and the day begins again
/// after so long, s.
const ANSWERED_AFTER_S: u32 = 2250;
const MORNING_S: u32 = 4500;
/// With nobody to wait for, the day is looked at this often, s.
const LOOK_EVERY_S: u32 = 20;
/// Where a countdown may begin or is on, it is looked at this often at any speed, s.
const LOOK_CLOSELY_S: u32 = 60;

/// What is played between two starts of the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Act {
    /// The day, until its bank is empty.
    Day,
    /// The morning after it.
    Morning,
}

/// How it ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Over {
    /// The bank was empty.
    PowerLost,
    /// The board was switched off.
    SwitchedOff,
    /// The morning is over: it may begin again.
    Again,
}

/// Plays one start of the board.
pub(crate) struct Script {
    /// What it is.
    pub(crate) act: Act,
    /// Its clock.
    pub(crate) hand: HandClock,
    /// How it is steered.
    pub(crate) steering: Arc<Steering>,
    /// Hears the end.
    pub(crate) over: oneshot::Sender<Over>,
}

impl Script {
    /// Plays until it is over or nobody listens any more.
    pub(crate) fn play(self, sampler: Sampler, now: watch::Receiver<Arc<Snapshot>>) {
        sampler.clock.was_synchronised();
        let outing = outing();
        let left_wh = outing.holds_wh;
        let (hand, steering) = (self.hand, self.steering);
        // By the morning the lead has been mended.
        let second = if self.act == Act::Day { 0 } else { MENDED_AFTER_S };
        let mut player =
            Player { hand, sampler, now, steering, outing, left_wh, doing: "", second };
        let over = match self.act {
            Act::Day => player.day(),
            Act::Morning => player.morning(),
        };
        if let Some(over) = over {
            // Nobody waits for it once the program ends.
            let _ = self.over.send(over);
        }
    }
}

struct Player {
    hand: HandClock,
    sampler: Sampler,
    now: watch::Receiver<Arc<Snapshot>>,
    steering: Arc<Steering>,
    outing: Outing,
    left_wh: f64,
    doing: &'static str,
    second: u32,
}

/// `None` throughout: nobody listens any more.
impl Player {
    fn day(&mut self) -> Option<Over> {
        self.steering.begin(DemoPart::Enough);
        self.tell(self.steering.shown())?;
        self.ask(Command::NameOuting { name: self.outing.name.to_owned() })?;
        self.ask(Command::Finish { after: Some(self.outing.stays) })?;
        let mut next_look = PLAYED_AT_ONCE_S;
        while self.left_wh > 0.0 {
            self.play_second(&scene(self.second))?;
            if self.second < next_look {
                continue;
            }
            self.catch_up()?;
            let now = Arc::clone(&self.now.borrow());
            if matches!(now.power_off, PowerOff::Asked { .. } | PowerOff::Failed { .. }) {
                return Some(Over::SwitchedOff);
            }
            self.look(&now)?;
            self.rest()?;
            next_look = self.second + self.burst_s();
        }
        Some(Over::PowerLost)
    }

    fn morning(&mut self) -> Option<Over> {
        self.tell(self.steering.shown())?;
        for second in 0..MORNING_S {
            self.play_second(&scene(second))?;
            if second.is_multiple_of(self.burst_s()) {
                self.catch_up()?;
                self.rest()?;
            }
            if second == ANSWERED_AFTER_S && self.is_asked(Question::SinceLast) {
                let (question, answer) = (Question::SinceLast, Some(Answer::Charged));
                self.ask(Command::Answer { question, answer })?;
            }
            if self.steering.hurries() {
                break;
            }
        }
        Some(Over::Again)
    }

    fn play_second(&mut self, scene: &Scene) -> Option<()> {
        self.hand.forward(Duration::from_secs(1));
        if scene.doing != self.doing {
            self.doing = scene.doing;
            self.ask(wish(scene.doing))?;
        }
        let sweep = sweep(&self.outing, scene, self.second, self.sampler.clock.mono());
        self.left_wh -= delivered_wh(&sweep);
        self.second += 1;
        let at = self.sampler.clock.stamp();
        self.send(Event::Sweep { sweep: Box::new(sweep), at, missed: 0 })
    }

    /// Looks how far the day has come.
    fn look(&self, now: &Snapshot) -> Option<()> {
        let part = match &now.power_off {
            PowerOff::Counting { until, .. } => {
                if left_s(*until, now) <= STOPPED_BEFORE_S {
                    self.ask(Command::PowerOff(PowerOffAsk::Stop))?;
                }
                DemoPart::Countdown
            }
            PowerOff::Saving { .. } | PowerOff::Closing { .. } | PowerOff::Stopped { .. } => {
                DemoPart::Countdown
            }
            _ if is_running_out(now) => DemoPart::Alarm,
            _ => match now.finish.and_then(|finish| finish.verdict) {
                Some(Verdict::Tight | Verdict::Short) => DemoPart::Tight,
                _ => DemoPart::Enough,
            },
        };
        let before = self.steering.shown();
        self.steering.reach(part);
        if self.steering.shown() != before {
            self.tell(self.steering.shown())?;
        }
        Some(())
    }

    /// Seconds that are played at once, between two looks. A burst a second, so that time runs fast but
    /// phones are not flooded.
    fn burst_s(&self) -> u32 {
        let counting = matches!(self.now.borrow().power_off, PowerOff::Counting { .. });
        let (slower, most) = match self.steering.shown().part {
            DemoPart::Enough | DemoPart::Tight | DemoPart::Empty => (1, u32::MAX),
            DemoPart::Morning => (2, u32::MAX),
            // A countdown that begins in here is not to be missed.
            DemoPart::Alarm => (3, LOOK_CLOSELY_S),
            DemoPart::Countdown if counting => (15, LOOK_CLOSELY_S),
            DemoPart::Countdown => (3, LOOK_CLOSELY_S),
        };
        let most = if self.steering.hurries() { most.min(LOOK_EVERY_S) } else { most };
        (u32::from(self.steering.speed) / slower).clamp(1, most)
    }

    fn is_asked(&self, question: Question) -> bool {
        let asked = |one: &QuestionView| one.question == question && one.is_open();
        self.now.borrow().questions.iter().any(asked)
    }

    fn rest(&self) -> Option<()> {
        let mut heard = Some(());
        self.steering.rest(Duration::from_secs(1), |shown| heard = heard.and(self.tell(shown)));
        heard
    }

    /// Waits until what was sent has been taken in.
    fn catch_up(&self) -> Option<()> {
        let until = self.sampler.clock.mono();
        while self.now.borrow().at.mono < until {
            // Closed: the event loop has gone.
            self.now.has_changed().ok()?;
            pause(Duration::from_millis(2));
        }
        Some(())
    }

    fn tell(&self, shown: DemoShown) -> Option<()> {
        self.send(Event::Demo(shown))
    }

    fn ask(&self, command: Command) -> Option<()> {
        // Nobody waits for the answer.
        let (answer, _) = oneshot::channel();
        self.send(Event::Command(Request { command, answer }))
    }

    fn send(&self, event: Event) -> Option<()> {
        self.sampler.events.send(event).ok()
    }
}

fn left_s(until: Mono, now: &Snapshot) -> f64 {
    until.as_s() - now.at.mono.as_s()
}

/// Half an hour is left, or less.
fn is_running_out(now: &Snapshot) -> bool {
    let near = |about: &About| matches!(about, About::RunningOut { limit_min: 0..=30 });
    now.alarms.iter().any(|alarm| near(&alarm.about))
}
