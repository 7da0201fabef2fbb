//! The contact log, as far as a battery cares: when, on which band, in which mode.
//!
//! Reads both files of the open standard 'Amateur Data Interchange Format' (ADIF 3.1.6,
//! adif.org): ADI, tags with lengths, and ADX, its XML twin. Good records count, bad ones are
//! listed with their line and the reason. Names, places and remarks are skipped over. The other
//! station's call is compared while a file is read, so that a contact in it twice counts once; it is
//! kept only if asked for.
//!
//! A file is not trusted: no more than so many bytes, records and complaints are taken, lengths
//! are checked against what is there, nothing is nested, no outside entity is followed.

mod adi;
mod adx;
mod bands;
mod log;
mod record;
mod same;
mod values;

pub use bands::{BANDS, Band, band_named, band_of};
pub use log::{Complaint, Contact, Fault, Keep, Log, MOST_COMPLAINTS, MOST_RECORDS};
use record::Taker;

/// A file larger than this is refused: about a hundred thousand contacts with every field.
pub const MOST_BYTES: usize = 64 << 20;

/// Of one log no more contacts are kept, the newest: more than any outing has.
pub const MOST_KEPT: usize = 10_000;

/// Reads a log of either kind; which one is seen from its beginning, not from its name.
///
/// ```
/// use reckon::adif::{Fault, Keep, read};
///
/// let file = b"Two contacts and a slip
/// <EOH>
/// <CALL:6>N0CALL<QSO_DATE:8>20240501<TIME_ON:4>1210<TIME_OFF:4>1213<BAND:3>20m<MODE:3>FT8<EOR>
/// <CALL:6>N0CALL<QSO_DATE:8>20240501<TIME_ON:4>1225<FREQ:5>7.030<MODE:2>CW<EOR>
/// <CALL:6>N0CALL<QSO_DATE:8>20240501<TIME_ON:4>2561<BAND:3>20m<MODE:3>FT8<EOR>";
/// let log = read(file, Keep::default());
/// let [first, second] = &log.contacts[..] else { panic!("{log:?}") };
/// assert_eq!((first.band.unwrap().name, first.mode.as_deref()), ("20m", Some("FT8")));
/// assert_eq!(first.ended.unwrap().unix_ms() - first.began.unix_ms(), 180_000);
/// assert_eq!(second.band.unwrap().name, "40m", "by its frequency");
/// assert_eq!(first.with, None, "the other station's call is not kept unless asked for");
/// // The third says a time that no clock shows; it is told with its line.
/// assert_eq!((log.complaints[0].line, &log.complaints[0].fault), (5, &Fault::BadTime("2561".into())));
/// ```
#[must_use]
pub fn read(file: &[u8], keep: Keep) -> Log {
    let mut taker = Taker::new(keep);
    if file.len() > MOST_BYTES {
        taker.complain(1, None, Fault::TooLarge);
        return taker.finish();
    }
    let text = file.strip_prefix(b"\xef\xbb\xbf").unwrap_or(file);
    if adx::looks_like(text) {
        adx::read(text, &mut taker);
    } else {
        adi::read(text, &mut taker);
    }
    taker.finish()
}

#[cfg(test)]
mod tests;
