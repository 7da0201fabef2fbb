//! Keeps the record: what was read, forecast and done, so that it survives the bank.
//!
//! **Assumptions.** A1: after `fsync` returns, the bytes survive. A2: a write that is cut off harms
//! no byte outside the range written ('powersafe overwrite' in SQLite's words); within it, any mix
//! of old and new may be found. A3: the card returns what was written, or an error. A4: one daemon
//! writes; SQLite's lock on the file holds any other process off.
//!
//! **Promises**, each with its test:
//!
//! * **P1** The file opens after any cut, and `PRAGMA integrity_check` says 'ok' (`tests/cut.rs`
//!   and, on a real kernel and file system, `tests/board`). By A1, A2: SQLite's write-ahead log,
//!   whose frames carry checksums.
//! * **P2** A cut loses at most the last 60 s of record, 10 s when the cautious remaining time is
//!   below an hour (both settable), plus the time that one commit takes. By A1: one transaction a
//!   batch, `synchronous = FULL`, a batch when the pace says so and at once for what a person did
//!   and for alarms (`tests/cut.rs`).
//! * **P3** A file that cannot be read, or that a newer outlast wrote, is set aside under a name of
//!   its own and named on the page; nothing is ever written over it (`tests/damage.rs`). By A3.
//! * **P4** A full or read-only card stops the record, not the forecast: the state says so, entries
//!   wait in bounded memory, and the record goes on when it can (`tests/full.rs`).
//! * **P5** A contact is in the record once, however often its log is read, in whatever order and
//!   across whatever cut (`tests/beside.rs`, `tests/cut.rs`). By matching each row to one contact that is
//!   kept, and by reading a log whole.
//!
//! **Shape.** [`start`] opens the store and gives a [`Writer`] (one thread owns the writing
//! connection) and a [`Reader`] (connections of its own). [`rows::Aggregator`] turns seconds into rows.
//! [`reckon::belief`] decides, purely, what happened at the last end. It stores what it is given; it has
//! never heard of a chip or a page.
//!
//! **What it costs a card**, counted on the block device (`examples/card_cost.rs`: ext4 with its
//! defaults and blocks of 4096 bytes, Linux 6.18, a usual station): 22 KiB and two flushes a commit,
//! which is 1.31 MiB an hour at the default pace of 60 s and 0.96 MiB (with the hour's own 24 KiB)
//! at 80 s. A bare program that writes a single block a minute and syncs it costs 1.17 MiB: one
//! block of data, three of the file system's journal for the changed time of the file, one when
//! that is written back. Mounting with `lazytime` spares none of these on that kernel.
//!
//! Times are seconds since boot; wall time is attached to whole boots ([`reckon::record::ClockFix`]), so a
//! clock that jumps changes no duration. Only a contact log brings wall times of its own; they are
//! laid beside the boots when somebody reads (`tables/contacts.rs`).
//!
//! A file of an earlier version is brought up to date by the first writer, with a copy kept beside
//! it ('record-before-version-…'); a reader reads it as it is.
#![forbid(unsafe_code)]

pub mod export;
pub mod reader;
pub mod rows;
mod schema;
mod tables;
pub mod time_stamp_import;
mod trouble;
mod write;

pub use reader::Reader;
pub use schema::{FILE, SetAside};
pub use trouble::Trouble;
pub use write::{
    change::{Change, Who},
    offline::amend,
    thread::{Keep, RecordState, Started, Writer, start},
};
