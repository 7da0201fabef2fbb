//! Commands: what they are told, what is kept of their words, and that none outlives its time.

use std::{
    fs,
    path::{Path, PathBuf},
    time::{Duration, Instant},
};

use alert::{Command, CommandEnd, Dispatcher};

use crate::{notification, now, runtime, until};

/// A program of the test's own, for the shell to read: a file that was written a moment ago may
/// still be open in the child of another test and could not be executed then.
fn script(folder: &Path, name: &str, text: &str) -> PathBuf {
    let path = folder.join(name);
    fs::write(&path, format!("{text}\n")).unwrap();
    path
}

fn command(path: &Path, arguments: &[&str], limit_ms: u64) -> Command {
    let mut all = vec![path.display().to_string()];
    all.extend(arguments.iter().map(|it| (*it).to_owned()));
    Command::new(Path::new("/bin/sh"), &all, Duration::from_millis(limit_ms)).unwrap()
}

#[test]
fn it_is_told_by_variables_and_no_shell_reads_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = script(
        folder.path(),
        "tell",
        "echo \"$OUTLAST_STATION|$OUTLAST_TEXT|$OUTLAST_URGENT|$OUTLAST_REMAINING_P10_S|$1|$NOTIFY_SOCKET|$CARGO_PKG_NAME\"",
    );
    let hostile = notification("$(touch hacked); `id` \"x\"");
    let ran = runtime().block_on(command(&path, &["$(id) *"], 5000).run(&hostile));
    let want = "Heron|$(touch hacked); `id` \"x\"|false||$(id) *||";
    assert_eq!(ran, CommandEnd::Well { printed: want.to_owned() });
}

#[test]
fn one_that_does_not_end_is_stopped_with_all_it_started() {
    let folder = tempfile::tempdir().unwrap();
    let sign = folder.path().join("alive");
    let text = format!("(while :; do date > '{}'; sleep 0.05; done) & sleep 60", sign.display());
    let path = script(folder.path(), "stay", &text);
    let began = Instant::now();
    assert_eq!(
        runtime().block_on(command(&path, &[], 400).run(&notification("x"))),
        CommandEnd::TooLong
    );
    assert!(began.elapsed() < Duration::from_secs(3), "{:?}", began.elapsed());
    assert!(sign.exists(), "it ran");
    std::thread::sleep(Duration::from_millis(300));
    fs::remove_file(&sign).unwrap();
    std::thread::sleep(Duration::from_millis(300));
    assert!(!sign.exists(), "its child still runs");
}

#[test]
fn a_flood_of_words_is_bounded_and_does_not_block_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = script(folder.path(), "flood", "yes heron | head -c 3000000; echo last >&2; exit 3");
    let ran = runtime().block_on(command(&path, &[], 10_000).run(&notification("x")));
    let CommandEnd::Badly { how, printed } = ran else { panic!("{ran:?}") };
    assert_eq!(how, "it ended with 3");
    assert!(printed.len() < 2100 && printed.ends_with("last"), "{} bytes", printed.len());
    // One that leaves something running behind, with our pipe in its hands, is not waited for.
    let path = script(folder.path(), "leave", "sleep 20 & echo done");
    let began = Instant::now();
    let ran = runtime().block_on(command(&path, &[], 10_000).run(&notification("x")));
    assert_eq!(ran, CommandEnd::Well { printed: "done".to_owned() });
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
}

fn absent() -> Command {
    Command::new(Path::new("/nonexistent/tell"), &[], Duration::from_secs(1)).unwrap()
}

#[test]
fn what_cannot_be_started_is_said() {
    let ran = runtime().block_on(absent().run(&notification("x")));
    assert!(matches!(ran, CommandEnd::NotStarted { .. }), "{ran:?}");
    let why = Command::new(Path::new("tell"), &[], Duration::from_secs(1)).unwrap_err();
    assert!(why.contains("whole path"), "{why}");
    let missing = absent();
    let tried =
        runtime().block_on(Dispatcher::test_all(&[], &[missing], &notification("x"), &now()));
    assert!(!tried[0].well && tried[0].said.starts_with("It could not be started"), "{tried:?}");
}

#[test]
fn notes_reach_a_command_one_by_one_and_saving_waits_for_it() {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("log");
    let text = format!(
        "echo $OUTLAST_TEXT begins >> '{0}'; sleep 0.1; echo $OUTLAST_TEXT ends >> '{0}'",
        log.display()
    );
    let path = script(folder.path(), "tell", &text);
    let slow = script(folder.path(), "slow", "sleep 30");
    runtime().block_on(async {
        let commands = vec![command(&path, &[], 3000)];
        let (dispatcher, workers) = Dispatcher::new(Vec::new(), commands, None, &now());
        for worker in workers {
            tokio::spawn(worker);
        }
        dispatcher.send(&notification("one"));
        dispatcher.send(&notification("two"));
        let read = || fs::read_to_string(&log).unwrap_or_default();
        until("both", || read().lines().count() == 4).await;
        assert_eq!(read(), "one begins\none ends\ntwo begins\ntwo ends\n");
        dispatcher.save(&notification("save"), Duration::from_secs(5)).await;
        assert!(read().ends_with("save begins\nsave ends\n"), "saved before it goes on");
        // One that never ends cannot hold up the switching off.
        let (dispatcher, _) =
            Dispatcher::new(Vec::new(), vec![command(&slow, &[], 60_000)], None, &now());
        let began = Instant::now();
        dispatcher.save(&notification("save"), Duration::from_millis(300)).await;
        assert!(began.elapsed() < Duration::from_secs(2));
    });
}
