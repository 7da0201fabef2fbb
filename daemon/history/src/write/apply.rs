//! One batch's work: each kind of entry turned into rows of the tables.

use reckon::{
    belief::last_end::StopHow,
    record::{ClockFix, ClockFrom, End, Ending, Row},
};
use rusqlite::{Connection, OptionalExtension, params};

use crate::{
    tables::{
        banks, choices, close_ups, contacts, corrections, events, forecasts, gaps, load_lines,
        outing_plans,
        outings::sums,
        period_folds, run_downs,
        tiers::{last_sign, put_fine},
    },
    write::change::Change,
};

type Done<T> = rusqlite::Result<T>;

/// What a batch changes beside the file; taken over only when its transaction is through.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Place {
    pub(crate) outing: Option<i64>,
    /// Rows of this boot are in till here.
    pub(crate) rows_to_s: f64,
    /// Folded till this hour of this boot.
    pub(crate) hour: i64,
    /// The last clock that was kept.
    pub(crate) clock: Option<(i64, u32, ClockFrom)>,
}

/// One transaction's work.
pub(crate) struct Work<'c> {
    pub(crate) on: &'c Connection,
    pub(crate) boot: i64,
    pub(crate) run: i64,
    pub(crate) at: Place,
}

impl Work<'_> {
    pub(crate) fn rows(&mut self, rows: &[Row], due_s: f64) -> Done<()> {
        // A row that began before the last one ended has been kept already (a restart within its
        // ten seconds).
        let mut left: Vec<Row> = Vec::with_capacity(rows.len());
        for row in rows {
            if row.from_s >= self.at.rows_to_s - 0.05 {
                self.at.rows_to_s = row.to_s();
                left.push(*row);
            }
        }
        put_fine(self.on, self.boot, &left, due_s)
    }

    pub(crate) fn entry(&mut self, entry: &Change) -> Done<()> {
        match entry {
            Change::Row(_) => Ok(()),
            Change::Event(event) => events::put(self.on, self.boot, event),
            Change::Source(change) => gaps::put(self.on, self.boot, change),
            Change::Forecast(row) => forecasts::put(self.on, self.boot, row),
            Change::Clock(row) => self.clock(row),
            Change::Choice { key, value } => choices::put(self.on, key, value),
            Change::OutingBegins { bank, name, start_share, at_s } => {
                self.outing_begins(bank.as_deref(), name.as_deref(), *start_share, *at_s)
            }
            Change::OutingGoesOn { outing, at_s, off_before_s } => {
                self.outing_goes_on(*outing, *at_s, *off_before_s)
            }
            Change::OutingJoins { earlier, off_before_s } => {
                self.outing_joins(*earlier, *off_before_s)
            }
            Change::OutingParts { start_share, end } => self.outing_parts(*start_share, end),
            Change::OutingStart { outing, start_share } => self.outing_start(*outing, *start_share),
            Change::OutingSettled { settled } => self.outing_settled(*settled),
            Change::EndingChance { outing, died } => self.ending_chance(*outing, *died),
            Change::OutingBank { bank, start_share } => self.outing_bank(bank, *start_share),
            Change::OutingNamed(name) => self.outing_named(self.at.outing, name),
            Change::OutingRenamed { outing, name } => self.outing_named(Some(*outing), name),
            Change::OutingEnds { outing, end } => self.outing_ends(*outing, end),
            Change::Bank(spec) => banks::put(self.on, spec),
            Change::BankRenamed { from, to } => self
                .on
                .execute("UPDATE OR IGNORE bank SET name = ?2 WHERE name = ?1", [from, to])
                .map(|_| ()),
            Change::BankForgotten { name, forgotten } => self
                .on
                .execute("UPDATE bank SET forgotten = ?2 WHERE name = ?1", params![name, forgotten])
                .map(|_| ()),
            Change::RunDown { bank, outing, data } => run_downs::put(self.on, bank, *outing, data),
            Change::Struck { rundown, struck } => self
                .on
                .execute("UPDATE rundown SET struck = ?2 WHERE id = ?1", params![rundown, struck])
                .map(|_| ()),
            Change::Answered { outing, died } => self.answered(*outing, *died),
            Change::Contacts(rows) => contacts::put(self.on, rows),
            Change::ContactsForgotten { outing } => contacts::forget(self.on, *outing),
            Change::Correction { outing, from_s, to_s, activity, origin } => {
                corrections::put(self.on, *outing, (*from_s, *to_s), activity.as_deref(), *origin)
            }
            Change::CorrectionForgotten { id } => corrections::forget(self.on, *id),
            Change::Fold(row) => period_folds::put(self.on, self.boot, row),
            Change::OutingPlan(plan) => outing_plans::put(self.on, self.boot, self.at.outing, plan),
            Change::LoadLine(row) => load_lines::put(self.on, self.boot, row),
            Change::CloseUp(row) => close_ups::put(self.on, self.boot, row),
            Change::Stops { at_s, how } => self.stops(*at_s, *how),
        }
    }

    /// Attaches a wall time to the whole boot. A weaker teller never overrules a stronger one, and
    /// what agrees within its bound is not written again.
    fn clock(&mut self, row: &ClockFix) -> Done<()> {
        let boot_ms = row.wall_at_boot_ms();
        if let Some((kept_ms, within_ms, from)) = self.at.clock {
            let agrees = kept_ms.abs_diff(boot_ms) <= u64::from(within_ms.max(500));
            if row.from < from || (row.from == from && agrees) {
                return Ok(());
            }
        }
        self.on.execute(
            "INSERT INTO clock (boot, at_s, wall_ms, within_ms, told_by) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![self.boot, row.at.as_s(), row.wall_ms, row.within_ms, row.from.name()],
        )?;
        self.on.execute(
            "UPDATE boot SET wall_at_boot_ms = ?2, wall_within_ms = ?3, wall_from = ?4 WHERE id = ?1",
            params![self.boot, boot_ms, row.within_ms, row.from.name()],
        )?;
        self.at.clock = Some((boot_ms, row.within_ms, row.from));
        Ok(())
    }

    fn outing_begins(
        &mut self,
        bank: Option<&str>,
        name: Option<&str>,
        start_share: Option<f64>,
        at_s: f64,
    ) -> Done<()> {
        let bank = bank.map(|name| banks::id_of(self.on, name)).transpose()?.flatten();
        let at_s = self.free_from(at_s)?;
        self.on.execute(
            "INSERT INTO outing (bank, name, start_share, began_boot, began_s)
             VALUES (?1, ?2, ?3, ?4, ?5)",
            params![bank, name, start_share, self.boot, at_s],
        )?;
        let outing = self.on.last_insert_rowid();
        self.open_span(outing, bank, at_s, None)?;
        self.at.outing = Some(outing);
        Ok(())
    }

    /// The first moment from `at_s` on that no outing of this boot has yet.
    fn free_from(&self, at_s: f64) -> Done<f64> {
        let taken_s: Option<f64> = self.on.query_row(
            "SELECT max(max(from_s, coalesce(to_s, from_s))) FROM span WHERE boot = ?1",
            [self.boot],
            |row| row.get(0),
        )?;
        Ok(taken_s.map_or(at_s, |taken_s| taken_s.max(at_s)))
    }

    fn open_span(&self, outing: i64, bank: Option<i64>, at_s: f64, off: Option<f64>) -> Done<()> {
        self.on
            .execute(
                "INSERT INTO span (outing, boot, bank, from_s, off_before_s)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                params![outing, self.boot, bank, at_s, off],
            )
            .map(|_| ())
    }

    fn outing_goes_on(&mut self, outing: i64, at_s: f64, off: Option<f64>) -> Done<()> {
        let last: Option<(Option<i64>, i64, Option<f64>)> = self
            .on
            .query_row(
                "SELECT bank, boot, to_s FROM span WHERE outing = ?1 ORDER BY id DESC LIMIT 1",
                [outing],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .optional()?;
        // In one boot nothing was interrupted but the daemon.
        if last.is_some_and(|(_, boot, to_s)| boot == self.boot && to_s.is_none()) {
            self.at.outing = Some(outing);
            return Ok(());
        }
        let bank = last.and_then(|(bank, ..)| bank);
        self.close_spans(outing, None)?;
        let at_s = self.free_from(at_s)?;
        self.on.execute(
            "UPDATE outing SET ending = 'open', ended_boot = NULL, ended_s = NULL,
                 ended_by_s = NULL, died_chance = NULL WHERE id = ?1",
            [outing],
        )?;
        self.open_span(outing, bank, at_s, off)?;
        self.at.outing = Some(outing);
        Ok(())
    }

    fn outing_joins(&mut self, earlier: Option<i64>, off: Option<f64>) -> Done<()> {
        let Some(open) = self.at.outing else { return Ok(()) };
        let known: Option<(i64, Option<i64>)> = self
            .on
            .query_row(
                "SELECT id, (SELECT bank FROM span WHERE outing = o.id ORDER BY id DESC LIMIT 1)
                 FROM outing AS o WHERE id < ?1 AND (?2 IS NULL OR id = ?2)
                 ORDER BY id DESC LIMIT 1",
                params![open, earlier],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()?;
        let Some((earlier, bank)) = known else { return Ok(()) };
        // What was taken for another bank was this one.
        self.on.execute("UPDATE span SET bank = ?2 WHERE outing = ?1", params![open, bank])?;
        self.close_spans(earlier, None)?;
        self.on.execute(
            "UPDATE span SET off_before_s = ?2
             WHERE id = (SELECT min(id) FROM span WHERE outing = ?1)",
            params![open, off],
        )?;
        for sql in [
            "UPDATE span SET outing = ?2 WHERE outing = ?1",
            // What the part was credited with is no whole any more; the whole is credited anew.
            "DELETE FROM rundown WHERE outing IN (?1, ?2) AND origin = 'seen' AND struck = 0",
            "UPDATE rundown SET outing = ?2 WHERE outing = ?1",
            "UPDATE outing SET ending = 'open', ended_boot = NULL, ended_s = NULL,
                 ended_by_s = NULL, died_chance = NULL WHERE id = ?2 AND id <> ?1",
        ] {
            self.on.execute(sql, [open, earlier])?;
        }
        outing_plans::join(self.on, open, earlier)?;
        self.on.execute("DELETE FROM outing WHERE id = ?1", [open])?;
        self.at.outing = Some(earlier);
        Ok(())
    }

    fn outing_start(&self, outing: i64, start_share: Option<f64>) -> Done<()> {
        self.on
            .execute(
                "UPDATE outing SET start_share = ?2 WHERE id = ?1",
                params![outing, start_share],
            )
            .map(|_| ())
    }

    fn outing_settled(&self, settled: bool) -> Done<()> {
        let open = self.at.outing.filter(|_| settled);
        choices::put(
            self.on,
            choices::SETTLED,
            &open.map(|open| open.to_string()).unwrap_or_default(),
        )
    }

    fn outing_parts(&mut self, start_share: Option<f64>, end: &End) -> Done<()> {
        let Some(whole) = self.at.outing else { return Ok(()) };
        let here: Option<(f64, Option<i64>)> = self
            .on
            .query_row(
                "SELECT from_s, bank FROM span WHERE outing = ?1 AND boot = ?2 ORDER BY id LIMIT 1",
                params![whole, self.boot],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()?;
        let Some((from_s, bank)) = here else { return Ok(()) };
        self.on.execute(
            "INSERT INTO outing (bank, start_share, began_boot, began_s) VALUES (?1, ?2, ?3, ?4)",
            params![bank, start_share, self.boot, from_s],
        )?;
        let open = self.on.last_insert_rowid();
        self.on.execute(
            "UPDATE span SET outing = ?2 WHERE outing = ?1 AND boot = ?3",
            params![whole, open, self.boot],
        )?;
        outing_plans::part(self.on, whole, open, self.boot)?;
        self.outing_ends(Some(whole), end)?;
        self.at.outing = Some(open);
        Ok(())
    }

    /// Ends the open spans: those of this boot at `at_s`, earlier ones at their boot's last sign.
    fn close_spans(&self, outing: i64, at_s: Option<f64>) -> Done<()> {
        let mut ask = self.on.prepare_cached(
            "SELECT id, boot, from_s FROM span WHERE outing = ?1 AND to_s IS NULL",
        )?;
        let open: Vec<(i64, i64, f64)> = ask
            .query_map([outing], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
            .collect::<Done<_>>()?;
        for (id, boot, from_s) in open {
            let sign = last_sign(self.on, boot)?.map(|(sign, _)| sign);
            let to_s = match at_s {
                Some(at_s) if boot == self.boot => at_s,
                Some(_) | None => sign.unwrap_or(from_s),
            };
            self.on.execute(
                "UPDATE span SET to_s = ?2 WHERE id = ?1",
                params![id, to_s.max(from_s)],
            )?;
        }
        Ok(())
    }

    fn outing_named(&self, outing: Option<i64>, name: &str) -> Done<()> {
        let name = (!name.is_empty()).then_some(name);
        self.on
            .execute("UPDATE outing SET name = ?2 WHERE id = ?1", params![outing, name])
            .map(|_| ())
    }

    fn outing_bank(&self, bank: &str, start_share: Option<f64>) -> Done<()> {
        let (outing, bank) = (self.at.outing, banks::id_of(self.on, bank)?);
        self.on.execute(
            "UPDATE outing SET bank = ?2, start_share = ?3 WHERE id = ?1",
            params![outing, bank, start_share],
        )?;
        self.on
            .execute(
                "UPDATE span SET bank = ?2 WHERE outing = ?1 AND (bank IS NULL OR to_s IS NULL)",
                params![outing, bank],
            )
            .map(|_| ())
    }

    fn outing_ends(&mut self, outing: Option<i64>, end: &End) -> Done<()> {
        let Some(outing) = outing.or(self.at.outing) else { return Ok(()) };
        let last: Option<(i64, i64, Option<f64>)> = self
            .on
            .query_row(
                "SELECT id, boot, to_s FROM span WHERE outing = ?1 ORDER BY id DESC LIMIT 1",
                [outing],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .optional()?;
        let Some((span, boot, _)) = last else { return Ok(()) };
        self.on.execute(
            "UPDATE span SET to_s = max(from_s, ?2) WHERE id = ?1",
            params![span, end.from_s],
        )?;
        self.close_spans(outing, Some(end.from_s))?;
        let died = match end.ending {
            Ending::PowerLost { died } => Some(died),
            Ending::Open | Ending::SwitchedOff | Ending::Died | Ending::Swapped => None,
        };
        let sums = sums(self.on, outing)?;
        self.on.execute(
            "UPDATE outing SET ended_boot = ?2, ended_s = ?3, ended_by_s = ?4, ending = ?5,
                 died_chance = ?6, energy_wh = ?7, bridged_wh = ?8, mean_power_w = ?9,
                 peak_power_w = ?10, lasted_s = ?11, over_range_wh = ?12 WHERE id = ?1",
            params![
                outing,
                boot,
                end.from_s,
                end.to_s.max(end.from_s),
                end.ending.name(),
                died,
                sums.whole_wh(),
                sums.whole_wh().map(|_| sums.bridged_wh()),
                sums.mean_w(),
                sums.peak_w,
                sums.lasted_s,
                sums.over_range_wh
            ],
        )?;
        if self.at.outing == Some(outing) {
            self.at.outing = None;
        }
        Ok(())
    }

    fn ending_chance(&self, outing: i64, died: f64) -> Done<()> {
        let changed = self.on.execute(
            "UPDATE outing SET ending = 'power_lost', died_chance = ?2
             WHERE id = ?1 AND ending IN ('power_lost', 'died')",
            params![outing, died],
        )?;
        if changed > 0 {
            self.on.execute(
                "UPDATE rundown SET whole = ?2 WHERE outing = ?1",
                params![outing, died >= 0.5],
            )?;
        }
        Ok(())
    }

    fn answered(&self, outing: i64, died: bool) -> Done<()> {
        let (ending, chance) = if died { ("died", None) } else { ("power_lost", Some(0.0)) };
        self.on.execute(
            "UPDATE outing SET ending = ?2, died_chance = ?3
             WHERE id = ?1 AND ending IN ('power_lost', 'died')",
            params![outing, ending, chance],
        )?;
        self.on
            .execute("UPDATE rundown SET whole = ?2 WHERE outing = ?1", params![outing, died])
            .map(|_| ())
    }

    fn stops(&self, at_s: f64, how: StopHow) -> Done<()> {
        self.on
            .execute(
                "UPDATE run SET ended_s = ?2, how = ?3 WHERE id = ?1",
                params![self.run, at_s, how.name()],
            )
            .map(|_| ())
    }
}
