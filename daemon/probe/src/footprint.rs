//! What outlast itself takes from the machine. Always of the real one.

use std::{fs, path::Path};

use crate::kernel;

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
    /// How often a thread of ours gave the processor away by itself, so closely how often one was
    /// woken up.
    pub switches_own: u64,
    /// How often it was taken from us.
    pub switches_forced: u64,
}

/// Own footprint. Another root makes no difference: the program runs here. `None` when the kernel
/// does not show it.
#[must_use]
pub fn footprint(_sysroot: Option<&Path>) -> Option<Footprint> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let usage = kernel::usage().ok()?;
    Some(Footprint {
        cpu_s: usage.cpu_s,
        resident_kib: field(&status, "VmRSS:")?,
        peak_kib: field(&status, "VmHWM:")?,
        threads: u32::try_from(field(&status, "Threads:")?).ok()?,
        switches_own: usage.switches_own,
        switches_forced: usage.switches_forced,
    })
}

fn field(status: &str, name: &str) -> Option<u64> {
    let rest = status.lines().find_map(|line| line.strip_prefix(name))?;
    rest.split_ascii_whitespace().next()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn this_process_has_a_footprint() {
        let print = footprint(Some(Path::new("/nonexistent"))).unwrap();
        assert!(print.resident_kib > 500 && print.peak_kib > 500);
        assert!(print.threads >= 1 && print.cpu_s >= 0.0);
        std::thread::sleep(std::time::Duration::from_millis(2));
        let later = footprint(None).unwrap();
        assert!(later.switches_own > print.switches_own, "sleeping gives the processor away");
    }
}
