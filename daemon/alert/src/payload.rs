//! What goes out: one thing that happened, as plain texts and numbers of our own.

use reckon::{
    alarm::{AlarmChange, Edge},
    forecast::Outlook,
    power_off::{CalledOff, PowerOff},
    snapshot::{Alarm, Snapshot},
    time::Stamp,
    units::{Seconds, Share},
    words::{self, Said},
};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::calendar;

/// One thing that happened. The JSON of a webhook has these fields; more may be added, none is
/// renamed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Notification {
    /// Differs from notification to notification, and stays when one is sent again.
    pub id: String,
    /// `raised`, `changed`, `cleared`, `power_off_counting`, `power_off_called_off`, `saving`,
    /// `test`.
    pub event: String,
    /// What the alarm is about; empty where it is none.
    pub about: String,
    /// Whether it cannot wait.
    pub urgent: bool,
    /// The station's name.
    pub station: String,
    /// The outing's name.
    pub outing: Option<String>,
    /// The bank's name.
    pub bank: Option<String>,
    /// What is the matter.
    pub text: String,
    /// What it means for the outing.
    pub meaning: String,
    /// What to do.
    pub advice: String,
    /// When (RFC 3339), while the clock is to be believed.
    pub at: Option<String>,
    /// When, since the board was switched on.
    pub uptime_s: f64,
    /// Time left, cautious.
    pub remaining_p10_s: Option<f64>,
    /// Time left, middle.
    pub remaining_p50_s: Option<f64>,
    /// Time left, hopeful.
    pub remaining_p90_s: Option<f64>,
    /// Chance of reaching the finish.
    pub chance_of_finish: Option<f64>,
    /// Time to switching off, during a countdown.
    pub switch_off_in_s: Option<f64>,
}

impl Notification {
    /// An alarm that was raised, changed or cleared.
    #[must_use]
    pub fn of_edge(edge: &Edge, snapshot: &Snapshot) -> Self {
        let event = match edge.change {
            AlarmChange::Raised => "raised",
            AlarmChange::Changed => "changed",
            AlarmChange::Cleared { .. } => "cleared",
        };
        let said = if matches!(edge.change, AlarmChange::Cleared { .. }) {
            plain(words::edge(edge, snapshot))
        } else {
            let about = edge.about.clone();
            words::alarm(&Alarm { about, since: edge.at, asleep_until: None }, snapshot)
        };
        let over = matches!(edge.change, AlarmChange::Cleared { .. });
        let mut notification = Self::new(event, said, snapshot);
        notification.about = edge.about.name().to_owned();
        notification.id = format!("{event}-{}-{:.3}", notification.about, notification.uptime_s);
        notification.urgent = !over && edge.about.is_urgent();
        notification
    }

    /// A countdown to switching off has begun.
    #[must_use]
    pub fn countdown(snapshot: &Snapshot) -> Self {
        let said =
            words::power_off(snapshot).unwrap_or_else(|| plain(words::warning::SWITCHED_OFF));
        Self { urgent: true, ..Self::new("power_off_counting", said, snapshot) }
    }

    /// It was called off.
    #[must_use]
    pub fn called_off(why: CalledOff, snapshot: &Snapshot) -> Self {
        Self::new("power_off_called_off", plain(words::called_off(why)), snapshot)
    }

    /// Whoever must save shall do so now.
    #[must_use]
    pub fn saving(snapshot: &Snapshot) -> Self {
        let said = Said {
            text: words::warning::SWITCHING_OFF.to_owned(),
            meaning: words::warning::SAVE_NOW.to_owned(),
            advice: "Save now.".to_owned(),
        };
        Self { urgent: true, ..Self::new("saving", said, snapshot) }
    }

    /// A try.
    #[must_use]
    pub fn test(station: &str, text: &str, at: Option<Stamp>, uptime_s: f64) -> Self {
        Self {
            id: format!("test-{uptime_s:.3}"),
            event: "test".to_owned(),
            about: String::new(),
            urgent: false,
            station: station.to_owned(),
            outing: None,
            bank: None,
            text: text.to_owned(),
            meaning: words::warning::A_TEST.to_owned(),
            advice: words::warning::NOTHING_TO_DO.to_owned(),
            at: at.and_then(Stamp::believed).map(calendar::rfc3339),
            uptime_s,
            remaining_p10_s: None,
            remaining_p50_s: None,
            remaining_p90_s: None,
            chance_of_finish: None,
            switch_off_in_s: None,
        }
    }

    fn new(event: &str, said: Said, snapshot: &Snapshot) -> Self {
        let uptime_s = snapshot.at.mono.as_s();
        let left = match &snapshot.outlook {
            Outlook::Lasts(forecast) => Some(forecast.remaining.map(Seconds::si)),
            _ => None,
        };
        let until = match snapshot.power_off {
            PowerOff::Counting { until, .. } => Some(until.seconds_since(snapshot.at.mono).si()),
            _ => None,
        };
        // Ties between a number and its unit are for pages.
        let tidy = |text: String| text.replace('\u{a0}', " ");
        Self {
            id: format!("{event}-{uptime_s:.3}"),
            event: event.to_owned(),
            outing: snapshot.outing.clone(),
            bank: snapshot.bank.spec.as_ref().map(|bank| bank.name.clone()),
            text: tidy(said.text),
            meaning: tidy(said.meaning),
            advice: tidy(said.advice),
            remaining_p10_s: left.map(|left| left[0]),
            remaining_p50_s: left.map(|left| left[1]),
            remaining_p90_s: left.map(|left| left[2]),
            chance_of_finish: snapshot.finish.and_then(|finish| finish.chance).map(Share::part),
            switch_off_in_s: until,
            ..Self::test(&snapshot.station, "", Some(snapshot.at), uptime_s)
        }
    }

    /// The body of a webhook without a template.
    #[must_use]
    pub fn json(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    /// The field of that name; null where there is none.
    #[must_use]
    pub fn value(&self, name: &str) -> Value {
        serde_json::to_value(self).ok().and_then(|all| all.get(name).cloned()).unwrap_or_default()
    }

    /// The fields as variables for a command: `OUTLAST_TEXT` and so on, empty where there is none.
    pub(crate) fn variables(&self) -> Vec<(String, String)> {
        let Ok(Value::Object(all)) = serde_json::to_value(self) else { return Vec::new() };
        let text = |value: Value| match value {
            Value::String(text) => text.replace('\0', ""),
            Value::Null => String::new(),
            other => other.to_string(),
        };
        all.into_iter()
            .map(|(name, value)| (format!("OUTLAST_{}", name.to_uppercase()), text(value)))
            .collect()
    }
}

fn plain(text: impl Into<String>) -> Said {
    Said { text: text.into(), meaning: String::new(), advice: String::new() }
}
