//! A state folder that is taken away while the record is open comes back with all that was in it.

mod support;

use std::fs;

use history::Change;
use reckon::{
    record::{Event, EventKind},
    time::Mono,
};
use support::{Folder, give_rows, row_at, start, wait};

fn begins() -> Change {
    Change::OutingBegins { bank: None, name: None, start_share: Some(1.0), at_s: 0.0 }
}

fn mark(at_s: f64) -> Change {
    let text = format!("{at_s}");
    Change::Event(Event { at: Mono::at_s(at_s), kind: EventKind::Mark, text })
}

#[test]
fn a_folder_deleted_while_running_comes_back_whole() {
    let folder = Folder::new("gone");
    let (started, states) = start(&folder.0, "boot-a", 0.0);
    started.writer.change(vec![begins(), mark(5.0)]).unwrap();
    give_rows(&started, 0.0, 600.0, row_at);
    started.writer.change(vec![]).unwrap();
    fs::remove_dir_all(&folder.0).unwrap();
    give_rows(&started, 600.0, 660.0, row_at);
    started.writer.change(vec![mark(650.0)]).unwrap();
    let state = wait(&states, "put the file back", |state| state.put_back > 0);
    assert_eq!((state.stopped, state.put_back), (None, 1));
    assert!(folder.file().exists());
    assert_eq!(started.reader.check().unwrap(), "ok");
    assert_eq!(started.reader.rows(1).unwrap().len(), 66, "from before and after");
    assert_eq!(started.reader.events(1).unwrap().len(), 2);
    // It is kept on as before.
    give_rows(&started, 660.0, 780.0, row_at);
    started.writer.change(vec![]).unwrap();
    assert_eq!(started.reader.rows(1).unwrap().len(), 78);
}

#[test]
fn a_folder_that_cannot_be_made_at_first_is_tried_again() {
    let folder = Folder::new("late");
    let state = folder.0.join("state");
    // A file where the folder should be.
    fs::write(&state, "in the way").unwrap();
    let (started, states) = start(&state, "boot-a", 0.0);
    assert!(started.trouble.is_some());
    started.writer.give(begins());
    assert!(!started.writer.is_settled(), "an outing's beginning is not on the card");
    give_rows(&started, 0.0, 60.0, row_at);
    fs::remove_file(&state).unwrap();
    give_rows(&started, 60.0, 180.0, row_at);
    wait(&states, "kept", |state| state.stopped.is_none() && state.last_s >= Some(60.0));
    assert!(started.writer.is_settled());
    started.writer.change(vec![]).unwrap();
    assert_eq!(started.reader.rows(1).unwrap().len(), 18, "what waited is kept");
}
