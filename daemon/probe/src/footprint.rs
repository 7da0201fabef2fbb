//! What outlast itself takes from the machine. Always of the real one.

use std::{fs, path::Path};

/// Own processor time, memory and switches since the program began.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Footprint {
    /// Processor time of all threads, seconds.
    pub cpu_s: f64,
    /// Memory in use, KiB.
    pub resident_kib: u64,
    /// The most that was in use, KiB.
    pub peak_kib: u64,
    /// Threads.
    pub threads: u32,
    /// How often a thread of ours that is still running gave the processor away by itself: as
    /// often as it was woken up, closely.
    pub switches_own: u64,
    /// How often it was taken from us.
    pub switches_forced: u64,
}

/// Own footprint, from `/proc/self`. Another root makes no difference: the program runs here.
/// `None` when the kernel does not show it.
#[must_use]
pub fn footprint(_sysroot: Option<&Path>) -> Option<Footprint> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let stat = fs::read_to_string("/proc/self/stat").ok()?;
    let mut print = Footprint {
        cpu_s: cpu_s(&stat)?,
        resident_kib: field(&status, "VmRSS:")?,
        peak_kib: field(&status, "VmHWM:")?,
        threads: u32::try_from(field(&status, "Threads:")?).ok()?,
        ..Footprint::default()
    };
    for thread in fs::read_dir("/proc/self/task").ok()?.flatten() {
        // A thread may end while we look.
        if let Ok(status) = fs::read_to_string(thread.path().join("status")) {
            print.switches_own += field(&status, "voluntary_ctxt_switches:").unwrap_or(0);
            print.switches_forced += field(&status, "nonvoluntary_ctxt_switches:").unwrap_or(0);
        }
    }
    Some(print)
}

fn field(status: &str, name: &str) -> Option<u64> {
    let rest = status.lines().find_map(|line| line.strip_prefix(name))?;
    rest.split_ascii_whitespace().next()?.parse().ok()
}

/// Fields 14 and 15 after the name in brackets, in ticks of 1/100 s. Source: proc_pid_stat(5).
fn cpu_s(stat: &str) -> Option<f64> {
    let after_name = &stat[stat.rfind(')')? + 1..];
    let mut fields = after_name.split_ascii_whitespace().skip(11);
    let user: f64 = fields.next()?.parse().ok()?;
    let system: f64 = fields.next()?.parse().ok()?;
    Some((user + system) / 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn this_process_has_a_footprint() {
        let print = footprint(Some(Path::new("/nonexistent"))).unwrap();
        assert!(print.resident_kib > 500 && print.peak_kib >= print.resident_kib);
        assert!(print.threads >= 1 && print.switches_own > 0);
    }

    /// Source of the field order: proc_pid_stat(5), fields 14 (utime) and 15 (stime).
    #[test]
    fn processor_time_is_found_behind_a_strange_name() {
        let stat = "7 (a) b (c) S 1 7 7 0 -1 4194304 100 0 0 0 250 50 0 0 20 0 3 0 1 1 1";
        assert_eq!(cpu_s(stat), Some(3.0));
    }
}
