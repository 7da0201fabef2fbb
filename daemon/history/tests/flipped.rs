//! A bit that flips in what a record says of its own size costs neither the start nor the stop more than
//! a moment.

mod support;

use std::time::{Duration, Instant};

use history::{Change, Reader};
use reckon::{
    belief::last_end::StopHow,
    record::{Channel, SeriesAsk, Stretch},
};
use rusqlite::Connection;
use support::{Folder, give_rows, row_at, start};

/// A start, a stop and a look at it all take less. The service manager waits ten seconds for the stop,
/// and the power may be about to go.
const PATIENCE: Duration = Duration::from_secs(2);

fn quick<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let began = Instant::now();
    let done = work();
    assert!(began.elapsed() < PATIENCE, "{what} took {:?}", began.elapsed());
    done
}

#[test]
fn a_flipped_bit_in_a_count_takes_no_time() {
    let folder = Folder::new("flipped");
    let (started, _states) = start(&folder.0, "boot-a", 0.0);
    let begins = Change::OutingBegins { bank: None, name: None, start_share: Some(1.0), at_s: 0.0 };
    started.writer.change(vec![begins]).unwrap();
    give_rows(&started, 0.0, 5000.0, row_at);
    started.writer.stop(5000.0, StopHow::Stopped).unwrap();
    let bits = |column: &str| (0..if column == "n" { 62 } else { 40 }).step_by(3);
    let all =
        ["n", "step_ds", "due_s"].into_iter().flat_map(|it| bits(it).map(move |bit| (it, bit)));
    for (column, bit) in all {
        let what = format!("bit {bit} of {column}");
        let flip = || {
            let file = Connection::open(folder.file()).unwrap();
            let sql = format!(
                "UPDATE fine SET {column} = ({column} | {mask}) - ({column} & {mask})
                 WHERE id IN (SELECT max(id) FROM fine WHERE id < 4294967296 + 50000)",
                mask = 1_i64 << bit
            );
            assert_eq!(file.execute(&sql, []).unwrap(), 1);
        };
        flip();
        let (started, _states) = quick(&what, || start(&folder.0, "boot-a", 5010.0));
        let row = row_at(5010.0 + 10.0 * f64::from(bit));
        quick(&what, || {
            // A refusal would be said; it must only not take long.
            let _ = started.writer.change(vec![Change::Row(row)]);
            let _ = started.writer.stop(6000.0, StopHow::Stopped);
        });
        let reader = Reader::new(&folder.0);
        quick(&what, || {
            let of = Stretch::Outing { id: 1, from_s: 0.0, to_s: 1e9 };
            let ask = SeriesAsk { of, channels: vec![Channel::Watts], points: 400 };
            reader.series(&ask).unwrap();
            reader.outing_whole(1).unwrap();
        });
        flip();
    }
}
