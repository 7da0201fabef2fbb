//! Migrations, from every earlier version, with the copy kept aside.

use super::*;

struct Place(PathBuf);

impl Place {
    fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("outlast-schema-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self) -> PathBuf {
        self.0.join(FILE)
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn opened(path: &Path, steps: &[&str]) -> Connection {
    match attempt(path, steps) {
        Ok(connection) => connection,
        Err(Refused::Trouble(trouble)) => panic!("{trouble}"),
        Err(Refused::Unusable { why, .. }) => panic!("{why}"),
    }
}

fn version(connection: &Connection) -> i64 {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap()
}

/// Steps that a later version might have.
const LATER: [&str; 2] = [
    "ALTER TABLE boot ADD COLUMN board TEXT;",
    "CREATE TABLE noise (id INTEGER PRIMARY KEY, band TEXT NOT NULL); \
     UPDATE boot SET board = 'unknown' WHERE board IS NULL;",
];

#[test]
fn every_earlier_version_is_brought_up_to_date_with_a_copy_aside() {
    let mut steps = STEPS.to_vec();
    steps.extend(LATER);
    for from in 1..=steps.len() {
        let place = Place::new(&format!("migrate-{from}"));
        let old = opened(&place.file(), &steps[..from]);
        old.execute("INSERT INTO boot (uuid) VALUES ('boot-a')", []).unwrap();
        drop(old);
        let new = opened(&place.file(), &steps);
        assert_eq!(version(&new), i64::try_from(steps.len()).unwrap());
        let board: Option<String> = new
            .query_row("SELECT board FROM boot WHERE uuid = 'boot-a'", [], |row| row.get(0))
            .unwrap();
        let copy = place.0.join(format!("record-before-version-{}-1.db", from + 1));
        if from == steps.len() {
            assert!(!copy.exists(), "nothing to bring up to date");
            continue;
        }
        assert_eq!(board.as_deref(), Some("unknown"), "from version {from}");
        let kept = Connection::open(&copy).unwrap();
        assert_eq!(version(&kept), i64::try_from(from).unwrap());
        let boots: i64 = kept.query_row("SELECT count(*) FROM boot", [], |row| row.get(0)).unwrap();
        assert_eq!(boots, 1, "the copy holds what was there");
    }
}

#[test]
fn a_step_that_fails_leaves_the_version_before_it() {
    let place = Place::new("failed-step");
    drop(opened(&place.file(), STEPS));
    let mut steps = STEPS.to_vec();
    steps.extend([LATER[0], "CREATE TABLE half (a); THIS IS NO SQL;"]);
    assert!(attempt(&place.file(), &steps).is_err());
    let before = STEPS.len() + 1;
    let connection = opened(&place.file(), &steps[..before]);
    assert_eq!(version(&connection), i64::try_from(before).unwrap());
    let half: i64 = connection
        .query_row("SELECT count(*) FROM sqlite_schema WHERE name = 'half'", [], |row| row.get(0))
        .unwrap();
    assert_eq!(half, 0);
}

/// A shipped step is never changed: a file that it made would be taken for damaged.
#[test]
fn shipped_steps_stay_as_they_are() {
    // FNV-1a, 64 bits (offset and prime from the RFC draft draft-eastlake-fnv).
    let hash = |text: &str| {
        text.bytes().fold(0xCBF2_9CE4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3)
        })
    };
    let shipped = [SHIPPED_1, SHIPPED_2, SHIPPED_3, SHIPPED_4, SHIPPED_5];
    assert_eq!(STEPS.len(), shipped.len(), "a new step: note its hash here when it is shipped");
    for (step, want) in STEPS.iter().zip(shipped) {
        assert_eq!(hash(step), want, "{:#018x}", hash(step));
    }
}

const SHIPPED_1: u64 = 0x602f_8f0d_4d8d_632c;
const SHIPPED_2: u64 = 0x40a7_4472_0614_84e6;
const SHIPPED_3: u64 = 0xd26a_f8a9_1578_1b74;
const SHIPPED_4: u64 = 0xbc68_8216_b79c_5d70;
const SHIPPED_5: u64 = 0xa4ba_55f5_f1c6_9cdd;

#[test]
fn the_pragmas_of_the_promise_hold() {
    let place = Place::new("pragmas");
    let connection = opened(&place.file(), STEPS);
    for (pragma, want) in [
        ("journal_mode", "wal"),
        ("synchronous", "2"),
        ("page_size", "1024"),
        ("foreign_keys", "1"),
        ("mmap_size", "0"),
        ("temp_store", "2"),
    ] {
        let got: rusqlite::types::Value =
            connection.query_row(&format!("PRAGMA {pragma}"), [], |row| row.get(0)).unwrap();
        let got = match got {
            rusqlite::types::Value::Text(text) => text,
            rusqlite::types::Value::Integer(number) => number.to_string(),
            other => panic!("{other:?}"),
        };
        assert_eq!(got, want, "{pragma}");
    }
    assert!(!place.0.join("record.db-shm").exists(), "the index of the log stays in memory");
    let log = fs::metadata(place.0.join("record.db-wal")).unwrap().len();
    assert!(log >= u64::from(LOG_PAGES * PAGE), "the log has its full length: {log}");
    let file = fs::metadata(place.file()).unwrap().len();
    assert!(file < 100_000, "and the file is small: {file}");
}
