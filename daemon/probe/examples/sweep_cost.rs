//! What a sweep costs, against a bare program that opens and reads the same files.
//!
//! `cargo run --release -p probe --example sweep_cost` makes a small board of files in the
//! temporary folder (one INA226, processor, temperature, flags) and prints processor time per
//! 1000 sweeps for both, and the quotient. `-- --real` sweeps this machine instead, with kept file
//! handles, as the daemon does.

use std::{
    fs,
    io::Read,
    path::{Path, PathBuf},
    sync::Arc,
};

use probe::{Sweeper, Want, footprint};
use reckon::time::Mono;

const SWEEPS: u32 = 20_000;
/// Before counting: sensors on a bus first prove themselves on a thread of their own.
const WARM_UP: u32 = 50;

const FILES: [(&str, &str); 6] = [
    ("proc/stat", "cpu  4705 150 1120 16250 520 0 45 0 0 0\ncpu0 4705 150 1120 16250 520 0 45 0\n"),
    ("sys/devices/system/cpu/cpufreq/policy0/scaling_cur_freq", "1500000\n"),
    ("sys/class/thermal/thermal_zone0/temp", "49660\n"),
    ("sys/devices/platform/soc/soc:firmware/get_throttled", "0\n"),
    ("sys/class/hwmon/hwmon0/in1_input", "5120\n"),
    ("sys/class/hwmon/hwmon0/curr1_input", "640\n"),
];
/// Needed to find the sources; not read again each second.
const MORE: [(&str, &str); 4] = [
    ("sys/class/thermal/thermal_zone0/type", "cpu-thermal\n"),
    ("sys/class/hwmon/hwmon0/name", "ina226\n"),
    ("sys/class/hwmon/hwmon0/shunt_resistor", "10000\n"),
    ("sys/devices/i2c-1/1-0040/name", "ina226\n"),
];

fn main() {
    if std::env::args().any(|word| word == "--real") {
        let ours = sweeps(None);
        println!("this machine: {:.1} ms of processor time per 1000 sweeps", ours * 1e3);
        return;
    }
    let tree = std::env::temp_dir().join(format!("outlast-sweep-cost-{}", std::process::id()));
    board(&tree);
    let files: Vec<PathBuf> = FILES.iter().map(|(path, _)| tree.join(path)).collect();
    let bare = bare(&files);
    let ours = sweeps(Some(tree.clone()));
    println!("bare program:  {:.1} ms of processor time per 1000 rounds", bare * 1e3);
    println!("sweep:         {:.1} ms of processor time per 1000 sweeps", ours * 1e3);
    println!("quotient:      {:.2} (budget 3)", ours / bare);
    if let Err(error) = fs::remove_dir_all(&tree) {
        eprintln!("{} stays behind: {error}", tree.display());
    }
}

fn board(tree: &Path) {
    for (path, text) in FILES.iter().chain(&MORE) {
        let at = tree.join(path);
        fs::create_dir_all(at.parent().expect("files lie in folders")).expect("a folder");
        fs::write(at, text).expect("a file");
    }
    let device = tree.join("sys/class/hwmon/hwmon0/device");
    std::os::unix::fs::symlink("../../../devices/i2c-1/1-0040", device).expect("a link");
}

/// Processor seconds so far.
fn spent() -> f64 {
    footprint(None).map_or(f64::NAN, |print| print.cpu_s)
}

/// Seconds per 1000 rounds of opening and reading each file.
fn bare(files: &[PathBuf]) -> f64 {
    let mut buffer = [0; 4096];
    let mut bytes = 0;
    let began = spent();
    for _ in 0..SWEEPS {
        for path in files {
            let mut file = fs::File::open(path).expect("the file was just made");
            bytes += file.read(&mut buffer).expect("the file can be read");
        }
    }
    assert!(bytes > 0);
    (spent() - began) / f64::from(SWEEPS) * 1e3
}

/// Seconds per 1000 sweeps.
fn sweeps(sysroot: Option<PathBuf>) -> f64 {
    let want = Want { sysroot, ..Want::default() };
    let mut sweeper = Sweeper::new(want, Arc::new(|| Mono::BOOT));
    let mut answers = 0;
    let mut began = 0.0;
    for n in 0..WARM_UP + SWEEPS {
        if n == WARM_UP {
            began = spent();
        }
        let sweep = sweeper.sweep(Mono::at_s(f64::from(n)));
        answers += usize::from(sweep.board.cpu_busy.is_ok()) + sweep.supplies.len();
    }
    assert!(answers > 0, "nothing was read");
    (spent() - began) / f64::from(SWEEPS) * 1e3
}
