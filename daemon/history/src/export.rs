//! An outing for other programs: CSV per RFC 4180, JSON.
//!
//! The first columns are those that `replay` reads: `t_s,cpu_util,cpu_temp_c,bus_v,current_a`,
//! seconds since the outing began; an empty field is a gap.

use std::fmt::Write as _;

use serde_json::{Value, json};

use reckon::record::{
    Channel, Correction, Event, Outing, OutingContacts, PeriodFold, PeriodFoldPart, Row, Stats,
};

use crate::{reader::Reader, trouble::Trouble};

/// The columns that `replay` reads, in its order.
pub const REPLAY_COLUMNS: [&str; 5] = ["t_s", "cpu_util", "cpu_temp_c", "bus_v", "current_a"];

const REPLAY_CHANNELS: [Channel; 4] = [Channel::Busy, Channel::Temp, Channel::Volts, Channel::Amps];

/// The outing's rows and events as CSV; `None` if there is no such outing.
///
/// # Errors
/// When the store cannot be read.
pub fn csv(reader: &Reader, outing: i64) -> Result<Option<String>, Trouble> {
    let reader = reader.at_one_moment()?;
    if reader.outing(outing)?.is_none() {
        return Ok(None);
    }
    Ok(Some(csv_of(&reader.rows(outing)?, &reader.events(outing)?)))
}

/// Rows and events as CSV. Events stand in the row in whose time they fell.
#[must_use]
pub fn csv_of(rows: &[Row], events: &[Event]) -> String {
    let mut out = REPLAY_COLUMNS.join(",");
    out.push_str(",span_s");
    for channel in Channel::ALL {
        let name = channel.name();
        let _ = write!(out, ",{name}_mean,{name}_min,{name}_max");
    }
    out.push_str(",events\r\n");
    let mut events = events.iter().peekable();
    for (k, row) in rows.iter().enumerate() {
        let _ = write!(out, "{}", number(row.from_s));
        for channel in REPLAY_CHANNELS {
            out.push(',');
            out.push_str(&row.get(channel).map(|fold| number(fold.mean)).unwrap_or_default());
        }
        let _ = write!(out, ",{}", number(row.span_s));
        for channel in Channel::ALL {
            let three = row.get(channel).map(|f| [f.mean, f.min, f.max]);
            for place in 0..3 {
                out.push(',');
                out.push_str(&three.map(|three| number(three[place])).unwrap_or_default());
            }
        }
        let last = k + 1 == rows.len();
        let mut words = Vec::new();
        while let Some(event) = events.next_if(|event| last || event.at.as_s() < row.to_s()) {
            let kind = event.kind.name();
            words.push(if event.text.is_empty() {
                kind.to_string()
            } else {
                format!("{kind}: {}", event.text)
            });
        }
        out.push(',');
        out.push_str(&field(&words.join("; ")));
        out.push_str("\r\n");
    }
    out
}

/// The outing's close-ups as CSV, a line a second, the reason beside each; `None` if there is no
/// such outing. Without any there is the header alone.
///
/// # Errors
/// When the store cannot be read.
pub fn close_ups(reader: &Reader, outing: i64) -> Result<Option<String>, Trouble> {
    let reader = reader.at_one_moment()?;
    if reader.outing(outing)?.is_none() {
        return Ok(None);
    }
    let mut out = String::from("t_s,volts_v,power_w,why\r\n");
    for close_up in reader.close_ups(outing)? {
        let why = field(&close_up.why);
        let mut at_s = close_up.from_s;
        for second in &close_up.seconds {
            let [volts, watts] = [second.volts, second.watts].map(|it| it.map(number));
            let (volts, watts) = (volts.unwrap_or_default(), watts.unwrap_or_default());
            let _ = write!(out, "{},{volts},{watts},{why}\r\n", number(at_s));
            at_s += 1.0;
        }
    }
    Ok(Some(out))
}

/// A number without needless digits.
fn number(value: f64) -> String {
    let rounded = (value * 1e6).round() / 1e6;
    // Minus nought would be an odd thing to read.
    if rounded == 0.0 { "0".into() } else { format!("{rounded}") }
}

/// A text field per RFC 4180, section 2: quoted if it holds a comma, a quote or a line break, with
/// quotes doubled. Text that a spreadsheet would take for a formula is given an apostrophe before.
#[must_use]
pub fn field(text: &str) -> String {
    let risky = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let text = if risky { format!("'{text}") } else { text.to_string() };
    if text.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text
    }
}

/// The outing as JSON: what is known of it, its rows as columns, its events, gaps, contacts,
/// corrections and folds; `None` if there is no such outing.
///
/// # Errors
/// When the store cannot be read.
pub fn json(reader: &Reader, outing: i64) -> Result<Option<String>, Trouble> {
    let Some(whole) = reader.outing_whole(outing)? else { return Ok(None) };
    let rows = &whole.rows;
    let mut channels = serde_json::Map::new();
    for channel in Channel::ALL {
        let column = |pick: fn(Stats) -> f64| -> Vec<Value> {
            rows.iter().map(|row| row.get(channel).map_or(Value::Null, |f| tidy(pick(f)))).collect()
        };
        channels.insert(
            channel.name().into(),
            json!({ "mean": column(|f| f.mean), "min": column(|f| f.min), "max": column(|f| f.max) }),
        );
    }
    let events: Vec<Value> = whole
        .events
        .iter()
        .map(|e| json!({ "t_s": tidy(e.at.as_s()), "kind": e.kind.name(), "text": e.text }))
        .collect();
    let gaps: Vec<Value> = whole.gaps.iter()
        .map(|g| json!({ "source": g.id, "title": g.title, "from_s": g.from_s, "to_s": g.to_s, "why": g.why }))
        .collect();
    let all = json!({
        "outing": outing_facts(&whole.outing),
        "t_s": rows.iter().map(|row| tidy(row.from_s)).collect::<Vec<_>>(),
        "span_s": rows.iter().map(|row| tidy(row.span_s)).collect::<Vec<_>>(),
        "channels": channels,
        "events": events,
        "gaps": gaps,
        "contacts": contacts(&whole.contacts),
        "doings": corrections(&whole.corrections),
        "folds": folds(&whole.folds),
    });
    Ok(Some(all.to_string()))
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

#[cfg(test)]
mod tests {
    use super::*;
    use reckon::record::EventKind;

    #[test]
    fn fields_per_rfc_4180() {
        // RFC 4180, section 2, rules 5 to 7.
        for (text, want) in [
            ("aaa", "aaa"),
            ("b CRLF\r\nbb", "\"b CRLF\r\nbb\""),
            ("b\"bb", "\"b\"\"bb\""),
            ("a,b", "\"a,b\""),
            ("", ""),
            // A cell that begins with one of these is run as a formula by spreadsheets (CWE-1236;
            // OWASP, 'CSV Injection', which names the same six).
            ("=1+1", "'=1+1"),
            ("+1+1", "'+1+1"),
            ("-1+1", "'-1+1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\tx", "'\tx"),
            ("\rx", "\"'\rx\""),
            ("a-b=c", "a-b=c"),
        ] {
            assert_eq!(field(text), want, "{text:?}");
        }
    }

    #[test]
    fn replay_columns_come_first_and_gaps_are_empty() {
        let mut stats = [None; Channel::ALL.len()];
        stats[Channel::Volts.ix()] = Some(Stats { mean: 5.012, min: 4.98, max: 5.03 });
        let rows = [Row { from_s: 0.0, span_s: 10.0, stats }];
        let events = [Event {
            at: reckon::time::Mono::at_s(3.0),
            kind: EventKind::Mark,
            text: "called CQ, \"nothing\"".into(),
        }];
        let text = csv_of(&rows, &events);
        assert!(text.starts_with("t_s,cpu_util,cpu_temp_c,bus_v,current_a,"));
        let second = text.split("\r\n").nth(1).unwrap();
        assert!(second.starts_with("0,,,5.012,,10,5.012,4.98,5.03,"), "{second}");
        assert!(second.ends_with("\"mark: called CQ, \"\"nothing\"\"\""), "{second}");
        assert!(text.ends_with("\r\n"), "RFC 4180 section 2, rule 1: lines end in CRLF");
    }
}
