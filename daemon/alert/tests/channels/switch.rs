//! The request to switch off, end to end but for the last step.
//!
//! STAND-IN: what answers the request here is a thread, in the place of the service manager. It
//! waits for the very path that the shipped path unit names (below a folder of the test instead of
//! `/run`), and does what the shipped service's command line says; only 'power off' itself is
//! replaced by a flag. The unit files are held by systemd's own verifier elsewhere.

use std::{
    fs,
    path::{Path, PathBuf},
    sync::Arc,
    sync::atomic::{AtomicU32, Ordering},
    time::Duration,
};

use alert::{Command, Dispatcher, make_request, sync_card, take_request_back};

use crate::{notification, now, runtime, until};

/// The value of a key in a shipped unit.
fn shipped(unit: &str, key: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../systemd").join(unit);
    let text = fs::read_to_string(path).unwrap();
    let values: Vec<&str> =
        text.lines().filter_map(|line| line.strip_prefix(key)?.strip_prefix('=')).collect();
    assert_eq!(values.len(), 1, "{key} in {unit}");
    values[0].to_owned()
}

/// Waits as the path unit does and acts as the service does; counts instead of switching off.
fn stand_in(root: &Path) -> Arc<AtomicU32> {
    let below = |path: &str| -> PathBuf { root.join(path.trim_start_matches('/')) };
    let waits_for = below(&shipped("outlast-poweroff.path", "PathExists"));
    assert_eq!(shipped("outlast-poweroff.path", "Unit"), "outlast-poweroff.service");
    assert_eq!(shipped("outlast-poweroff.service", "SuccessAction"), "poweroff");
    let start = shipped("outlast-poweroff.service", "ExecStart");
    let mut words: Vec<String> = start.split(' ').map(str::to_owned).collect();
    let last = words.last_mut().unwrap();
    *last = below(last).display().to_string();
    let switched = Arc::new(AtomicU32::new(0));
    let count = Arc::clone(&switched);
    std::thread::spawn(move || {
        loop {
            if waits_for.exists() {
                let ended = std::process::Command::new(&words[0]).args(&words[1..]).status();
                assert!(ended.unwrap().success());
                count.fetch_add(1, Ordering::SeqCst);
            }
            std::thread::sleep(Duration::from_millis(10));
        }
    });
    switched
}

#[test]
fn programs_save_then_the_card_is_synced_then_the_request_is_answered_once() {
    let root = tempfile::tempdir().unwrap();
    let folder = root.path().join("run/outlast");
    fs::create_dir_all(&folder).unwrap();
    // A request that an earlier run left is never answered.
    make_request(&folder, "old").unwrap();
    take_request_back(&folder).unwrap();
    let switched = stand_in(root.path());
    let saved = root.path().join("saved");
    runtime().block_on(async {
        let line = format!("sleep 0.3; echo saved > '{}'", saved.display());
        let hook = ["-c".to_owned(), line];
        let hook = Command::new(Path::new("/bin/sh"), &hook, Duration::from_secs(5)).unwrap();
        let (dispatcher, _) = Dispatcher::new(Vec::new(), vec![hook], None, &now());
        dispatcher.save(&notification("saving"), Duration::from_secs(5)).await;
        assert_eq!(switched.load(Ordering::SeqCst), 0, "not before it has saved");
        assert_eq!(fs::read_to_string(&saved).unwrap(), "saved\n");
        sync_card(&folder).unwrap();
        make_request(&folder, "The bank is nearly empty.").unwrap();
        until("the answer", || switched.load(Ordering::SeqCst) == 1).await;
        tokio::time::sleep(Duration::from_millis(200)).await;
    });
    assert_eq!(switched.load(Ordering::SeqCst), 1, "once");
    assert!(!folder.join(alert::REQUEST).exists());
}
