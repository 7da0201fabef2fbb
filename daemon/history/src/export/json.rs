//! An outing as JSON, in pieces, its members in the order of their names.

use std::{collections::VecDeque, fmt::Write as _};

use reckon::record::{
    Channel, Correction, Event, Outing, OutingContacts, PeriodFold, PeriodFoldPart, SourceGap,
    Stats,
};
use serde_json::{Value, json};

use super::Pieces;
use crate::{reader::Reader, trouble::Trouble};

/// Values that a piece has at most.
const TOGETHER: usize = 4096;

/// The outing as JSON, all of one moment: what is known of it, its rows as columns, its events, gaps,
/// contacts, corrections and folds; `None` if there is no such outing.
///
/// # Errors
/// When the store cannot be read.
pub fn json(reader: &Reader, outing: i64) -> Result<Option<Pieces>, Trouble> {
    let reader = reader.at_one_moment()?;
    let Some(facts) = reader.outing(outing)? else { return Ok(None) };
    let mut axis = Vec::new();
    for rows in reader.rows_by_hour(outing, &Channel::ALL)? {
        axis.extend(rows?.iter().map(|row| Place { from_s: row.from_s, span_s: row.span_s }));
    }
    let parts = parts(&reader, &facts)?;
    Ok(Some(Box::new(Json { reader, outing, axis, parts, values: Vec::new() })))
}

/// Where a row lies.
struct Place {
    from_s: f64,
    span_s: f64,
}

/// What is still to come, and what it is made from.
struct Json {
    reader: Reader,
    outing: i64,
    axis: Vec<Place>,
    parts: VecDeque<Part>,
    /// Of the channel whose columns come next.
    values: Vec<Option<Stats>>,
}

enum Part {
    Text(String),
    Channel(Channel),
    /// A column of the channel's values, from that one on.
    Column(fn(Stats) -> f64, usize),
    Axis(fn(&Place) -> f64, usize),
}

fn parts(reader: &Reader, facts: &Outing) -> Result<VecDeque<Part>, Trouble> {
    let text = |text: &str| Part::Text(text.to_owned());
    let mut channels = Channel::ALL;
    channels.sort_by_key(|channel| channel.name());
    let mut parts = VecDeque::from([text("{\"channels\":{")]);
    for (k, channel) in channels.into_iter().enumerate() {
        let comma = if k > 0 { "," } else { "" };
        parts.push_back(Part::Text(format!("{comma}\"{}\":{{\"max\":", channel.name())));
        parts.push_back(Part::Channel(channel));
        parts.extend([Part::Column(|it| it.max, 0), text(",\"mean\":")]);
        parts.extend([Part::Column(|it| it.mean, 0), text(",\"min\":")]);
        parts.extend([Part::Column(|it| it.min, 0), text("}")]);
    }
    let beside = beside_rows(reader, facts)?.to_string();
    let inner =
        beside.strip_prefix('{').and_then(|rest| rest.strip_suffix('}')).unwrap_or_default();
    parts.push_back(Part::Text(format!("}},{inner},\"span_s\":")));
    parts.extend([Part::Axis(|it| it.span_s, 0), text(",\"t_s\":")]);
    parts.extend([Part::Axis(|it| it.from_s, 0), text("}")]);
    Ok(parts)
}

impl Iterator for Json {
    type Item = Result<String, Trouble>;

    fn next(&mut self) -> Option<Self::Item> {
        let (text, rest) = match self.parts.pop_front()? {
            Part::Text(text) => (text, None),
            Part::Channel(channel) => match self.read(channel) {
                Ok(values) => {
                    self.values = values;
                    return self.next();
                }
                Err(trouble) => {
                    self.parts.clear();
                    return Some(Err(trouble));
                }
            },
            Part::Column(pick, from) => {
                let value = |it: &Option<Stats>| it.map_or(Value::Null, |it| tidy(pick(it)));
                let (text, rest) = some_of(&self.values, from, value);
                (text, rest.map(|from| Part::Column(pick, from)))
            }
            Part::Axis(pick, from) => {
                let (text, rest) = some_of(&self.axis, from, |it| tidy(pick(it)));
                (text, rest.map(|from| Part::Axis(pick, from)))
            }
        };
        if let Some(rest) = rest {
            self.parts.push_front(rest);
        }
        Some(Ok(text))
    }
}

impl Json {
    /// A channel's values, one for each row.
    fn read(&self, channel: Channel) -> Result<Vec<Option<Stats>>, Trouble> {
        let mut values = vec![None; self.axis.len()];
        let mut places = self.axis.iter().enumerate();
        for rows in self.reader.rows_by_hour(self.outing, &[channel])? {
            for row in rows? {
                let own = |(_, place): &(usize, &Place)| (place.from_s - row.from_s).abs() < 1e-6;
                if let Some((k, _)) = places.find(own) {
                    values[k] = row.get(channel);
                }
            }
        }
        Ok(values)
    }
}

/// Some values of a list, and where the next piece goes on.
fn some_of<T>(all: &[T], from: usize, value: impl Fn(&T) -> Value) -> (String, Option<usize>) {
    let to = all.len().min(from + TOGETHER);
    let mut out = String::from(if from == 0 { "[" } else { "" });
    for (k, one) in all.iter().enumerate().take(to).skip(from) {
        let comma = if k > 0 { "," } else { "" };
        let _ = write!(out, "{comma}{}", value(one));
    }
    if to < all.len() {
        return (out, Some(to));
    }
    out.push(']');
    (out, None)
}

fn beside_rows(reader: &Reader, facts: &Outing) -> Result<Value, Trouble> {
    let event =
        |it: &Event| json!({ "t_s": tidy(it.at.as_s()), "kind": it.kind.name(), "text": it.text });
    let gap = |it: &SourceGap| {
        json!({
            "source": it.id, "title": it.title, "from_s": it.from_s, "to_s": it.to_s, "why": it.why,
        })
    };
    Ok(json!({
        "outing": outing_facts(facts),
        "events": reader.events(facts.id)?.iter().map(event).collect::<Vec<_>>(),
        "gaps": reader.gaps(facts.id)?.iter().map(gap).collect::<Vec<_>>(),
        "contacts": contacts(&reader.contacts(facts.id)?),
        "doings": corrections(&reader.corrections(facts.id)?),
        "folds": folds(&reader.folds(facts.id)?),
    }))
}

/// Contacts without calls: whoever may look may have this file.
fn contacts(found: &OutingContacts) -> Value {
    let list = found.contacts.iter().map(|placed| {
        let contact = &placed.contact;
        json!({
            "t_s": tidy(placed.t_s),
            "began_at": rfc3339(contact.began_ms),
            "ended_at": contact.ended_ms.and_then(rfc3339),
            "band": contact.band,
            "mode": contact.mode,
        })
    });
    json!({ "list": list.collect::<Vec<_>>(), "undated_s": found.undated_s.map(tidy) })
}

fn corrections(all: &[Correction]) -> Vec<Value> {
    let doing = |it: &Correction| {
        json!({
            "from_s": tidy(it.from_s),
            "to_s": tidy(it.to_s),
            "activity": it.activity,
            "origin": it.origin.name(),
        })
    };
    all.iter().map(doing).collect()
}

fn folds(all: &[PeriodFold]) -> Vec<Value> {
    let part = |part: Option<PeriodFoldPart>| {
        part.map(|part| {
            json!({
                "energy_j": tidy(part.energy_j),
                "power_w": tidy(part.watts),
                "begins_s": tidy(part.begins_s),
                "lasts_s": tidy(part.lasts_s),
                "bridged": part.bridged,
            })
        })
    };
    let fold = |it: &PeriodFold| {
        json!({
            "from_s": tidy(it.from_s),
            "to_s": tidy(it.to_s),
            "period_s": tidy(it.period_s),
            "slot_s": tidy(it.slot_s),
            "mode": it.mode,
            "chance": it.chance,
            "sent": it.sent,
            "slots": it.slots,
            "energy_j": tidy(it.energy_j),
            "receive_j": tidy(it.receive_j),
            "transmit": part(it.transmit),
            "decode": part(it.decode),
        })
    };
    all.iter().map(fold).collect()
}

fn tidy(value: f64) -> Value {
    json!((value * 1e6).round() / 1e6)
}

/// Wall time as RFC 3339, UTC.
#[must_use]
pub fn rfc3339(unix_ms: i64) -> Option<String> {
    jiff::Timestamp::from_millisecond(unix_ms).ok().map(|stamp| stamp.to_string())
}

fn outing_facts(outing: &Outing) -> Value {
    json!({
        "id": outing.id,
        "name": outing.name,
        "bank": outing.bank,
        "began_at": outing.began.and_then(|at| rfc3339(at.unix_ms())),
        "ended_at": outing.ended.and_then(|at| rfc3339(at.unix_ms())),
        "lasted_s": tidy(outing.lasted_s),
        "ended_within_s": outing.ended_within_s.map(tidy),
        "ending": outing.ending.name(),
        "energy_wh": outing.energy_wh.map(tidy),
        "mean_power_w": outing.mean_power_w.map(tidy),
        "peak_power_w": outing.peak_power_w.map(tidy),
    })
}
