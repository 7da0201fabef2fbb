//! What the record says of the end before this start.

use reckon::{
    belief::last_end::{BeforeStart, EarlierPart, Loss, OpenOuting, StopHow},
    record::Ending,
};
use rusqlite::{Connection, OptionalExtension, params};

use crate::tables::{
    choices::SETTLED,
    outings::{outings, sums},
    tiers::last_sign,
};

/// What the record says about the end before this start; `None` in a new record.
pub(crate) fn before(connection: &Connection) -> rusqlite::Result<Option<BeforeStart>> {
    let last = connection
        .query_row(
            "SELECT r.boot, b.uuid, r.ended_s, r.how, b.wall_at_boot_ms, r.began_s
             FROM run AS r JOIN boot AS b ON b.id = r.boot ORDER BY r.id DESC LIMIT 1",
            [],
            |row| {
                Ok((
                    row.get::<_, i64>(0)?,
                    row.get::<_, String>(1)?,
                    row.get::<_, Option<f64>>(2)?,
                    row.get::<_, Option<String>>(3)?,
                    row.get::<_, Option<i64>>(4)?,
                    row.get::<_, f64>(5)?,
                ))
            },
        )
        .optional()?;
    let Some((boot, boot_uuid, ended_s, how, wall_at_boot_ms, began_s)) = last else {
        return Ok(None);
    };
    // A run that left no row still showed that it began.
    let (sign, due_s) = last_sign(connection, boot)?.unwrap_or((began_s, 60.0));
    let forecast = connection
        .query_row(
            "SELECT at_s, p10_s, p50_s, p90_s FROM forecast WHERE boot = ?1 ORDER BY id DESC LIMIT 1",
            [boot],
            |row| Ok((row.get(0)?, [row.get(1)?, row.get(2)?, row.get(3)?])),
        )
        .optional()?;
    let outing = open_outing(connection)?;
    let unsettled = outing.as_ref().map_or(Ok(Vec::new()), |open| unsettled(connection, open))?;
    let losses = outing.as_ref().map_or(Ok(Vec::new()), |open| losses(connection, open))?;
    Ok(Some(BeforeStart {
        boot_uuid,
        last_sign_s: sign.max(began_s),
        due_s,
        stopped: ended_s.zip(how.as_deref().and_then(StopHow::from_name)),
        forecast,
        wall_at_boot_ms,
        outing,
        earlier_parts: unsettled,
        losses,
    }))
}

/// Upper limit of outings that may continue one another: a plug that slips all day.
const LONGEST_CHAIN: usize = 24;

/// How many outings back the search goes.
const LOOK_BACK: u32 = 12;

/// Outings right before the open one that it may be the rest of: on its bank, ended alive as far as
/// can be told, and each begun from a level that is not known but for the first.
fn unsettled(connection: &Connection, open: &OpenOuting) -> rusqlite::Result<Vec<EarlierPart>> {
    let mut chain = Vec::new();
    let mut last = open.clone();
    while last.start_share.is_none()
        && chain.len() < LONGEST_CHAIN
        && !settled(connection, last.id)?
    {
        let Some(earlier) = one_before(connection, &last)? else { break };
        last = earlier.outing.clone();
        chain.push(earlier);
    }
    Ok(chain)
}

/// Whether a person has said how full the bank was, or that it was not known.
fn settled(connection: &Connection, outing: i64) -> rusqlite::Result<bool> {
    connection.query_row(
        "SELECT EXISTS (SELECT 1 FROM choice WHERE key = ?1 AND value = ?2)",
        params![SETTLED, outing.to_string()],
        |row| row.get(0),
    )
}

fn one_before(connection: &Connection, of: &OpenOuting) -> rusqlite::Result<Option<EarlierPart>> {
    let mut page = outings(connection, Some(of.id), 1)?;
    let Some(found) = page.items.pop() else { return Ok(None) };
    let alive = match found.ending {
        Ending::SwitchedOff => Some(0.0),
        Ending::PowerLost { died } => Some(died),
        Ending::Open | Ending::Died | Ending::Swapped => None,
    };
    let same_bank = found.bank.is_some() && found.bank == of.bank;
    let Some(died) = alive.filter(|_| same_bank) else { return Ok(None) };
    let outing = OpenOuting {
        id: found.id,
        bank: found.bank,
        name: found.name,
        start_share: found.start_share,
        lasted_s: found.lasted_s,
        energy_wh: found.energy_wh.unwrap_or(0.0),
        bridged_wh: found.bridged_wh.unwrap_or(0.0),
        over_range_wh: found.over_range_wh.unwrap_or(0.0),
        steps: Vec::new(),
    };
    Ok(Some(EarlierPart { outing, died }))
}

/// Earlier outings of the bank whose power went away.
fn losses(connection: &Connection, open: &OpenOuting) -> rusqlite::Result<Vec<Loss>> {
    let mut ask = connection.prepare_cached(
        "SELECT o.id, o.energy_wh, o.ending, o.died_chance, o.start_share FROM outing AS o
         JOIN bank AS b ON b.id = o.bank
         WHERE b.name = ?1 AND o.id < ?2 AND o.ending IN ('died', 'power_lost')
             AND o.energy_wh > 0 AND (o.start_share IS NULL OR o.start_share >= 1)
         ORDER BY o.id DESC LIMIT ?3",
    )?;
    ask.query_map(params![open.bank, open.id, LOOK_BACK], |row| {
        let (name, chance): (String, Option<f64>) = (row.get(2)?, row.get(3)?);
        let died = if name == "died" { 1.0 } else { chance.unwrap_or(0.5) };
        Ok(Loss {
            outing: row.get(0)?,
            energy_wh: row.get(1)?,
            died,
            // A person's word is put down as all or nothing.
            known: name == "died" || died <= 0.0,
            from_full: row.get::<_, Option<f64>>(4)?.is_some(),
        })
    })?
    .collect()
}

fn open_outing(connection: &Connection) -> rusqlite::Result<Option<OpenOuting>> {
    let found = connection
        .query_row(
            "SELECT o.id, b.name, o.name, o.start_share FROM outing AS o
             LEFT JOIN bank AS b ON b.id = coalesce((SELECT bank FROM span WHERE outing = o.id
                 ORDER BY id DESC LIMIT 1), o.bank)
             WHERE o.ending = 'open' ORDER BY o.id DESC LIMIT 1",
            [],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
        )
        .optional()?;
    let Some((id, bank, name, start_share)) = found else { return Ok(None) };
    let sums = sums(connection, id)?;
    Ok(Some(OpenOuting {
        id,
        bank,
        name,
        start_share,
        lasted_s: sums.lasted_s,
        energy_wh: sums.whole_wh().unwrap_or(0.0),
        bridged_wh: sums.bridged_wh(),
        over_range_wh: sums.over_range_wh,
        steps: Vec::new(),
    }))
}
