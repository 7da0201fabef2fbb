//! How busy the processor is and how fast it is clocked.

use reckon::{
    reading::{Gap, Got, Via},
    time::Mono,
    units::{Hertz, Share},
    words,
};

use crate::{
    files::{self, Attr},
    root::Root,
    source::{BoardPart, Channel, Reading, Source},
};

/// Clocks outside this are not believed: slower or faster than any processor that runs Linux.
const CLOCK_HZ: std::ops::RangeInclusive<f64> = 1e6..=1e10;

/// The accounts of `/proc/stat` and the first core's frequency group.
pub(crate) struct Processor {
    root: Root,
    channel: [Channel; 1],
    stat: Attr,
    clock: Option<Attr>,
    last: Option<Accounts>,
}

/// Ticks since boot.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Accounts {
    busy: [u64; 6],
    idle: [u64; 2],
}

impl Processor {
    /// On this machine, if it has accounts.
    pub(crate) fn find(root: &Root) -> Option<Self> {
        let path = root.at("/proc/stat");
        path.exists().then(|| {
            let mut channel = Channel::new("processor", words::sensor::PROCESSOR, Via::Processor);
            let clock = clock_file(root);
            channel.notes.push(match clock {
                Some(_) => words::sensor::CLOCK_SHOWN.into(),
                None => words::sensor::CLOCK_HIDDEN.into(),
            });
            let clock = clock.map(Attr::new);
            Self {
                root: root.clone(),
                channel: [channel],
                stat: Attr::new(path),
                clock,
                last: None,
            }
        })
    }

    fn busy(&mut self) -> Got<Share> {
        // The first line is all that is wanted, and the kernel puts it first.
        let mut buffer = [0; 512];
        let text = self.stat.read(&self.root, &mut buffer).map_err(|error| files::gap(&error))?;
        let now = accounts(text).ok_or(Gap::Garbled)?;
        let before = self.last.replace(now).ok_or(Gap::NotReady)?;
        share(before, now)
    }

    fn clock(&mut self) -> Got<Hertz> {
        let khz = self.clock.as_mut().ok_or(Gap::Absent)?.number(&self.root)?;
        #[expect(clippy::cast_precision_loss, reason = "held against limits right after")]
        let hz = khz as f64 * 1000.0;
        if CLOCK_HZ.contains(&hz) { Ok(Hertz::of(hz)) } else { Err(Gap::Implausible) }
    }
}

impl Source for Processor {
    fn channels(&self) -> &[Channel] {
        &self.channel
    }

    fn may_block(&self) -> bool {
        false
    }

    fn read(&mut self, _at: Mono, into: &mut Vec<Reading>) {
        into.push(Reading::Board(BoardPart {
            cpu_busy: Some(self.busy()),
            cpu_clock: Some(self.clock()),
            ..BoardPart::NOTHING
        }));
    }
}

fn clock_file(root: &Root) -> Option<std::path::PathBuf> {
    let dir = root.at("/sys/devices/system/cpu/cpufreq");
    let policy = files::names(&dir).ok()?.into_iter().find(|name| name.starts_with("policy"))?;
    let path = dir.join(policy).join("scaling_cur_freq");
    path.exists().then_some(path)
}

/// The first line: `cpu  user nice system idle iowait irq softirq steal guest guest_nice`. Guest
/// time is inside user time already.
///
/// Source: the kernel's `Documentation/filesystems/proc.rst`.
fn accounts(text: &[u8]) -> Option<Accounts> {
    let line = text.split(|byte| *byte == b'\n').next()?;
    let line = std::str::from_utf8(line).ok()?.strip_prefix("cpu ")?;
    let mut ticks = [0_u64; 8];
    let mut given = 0;
    for (place, word) in ticks.iter_mut().zip(line.split_ascii_whitespace()) {
        *place = word.parse().ok()?;
        given += 1;
    }
    // The oldest kernels give four.
    (given >= 4).then(|| {
        let [user, nice, system, idle, iowait, irq, softirq, steal] = ticks;
        Accounts { busy: [user, nice, system, irq, softirq, steal], idle: [idle, iowait] }
    })
}

/// The busy share between two looks. Single accounts can run backwards (the documentation says so
/// of iowait): such a step counts as none.
fn share(before: Accounts, now: Accounts) -> Got<Share> {
    let grown = |before: &[u64], now: &[u64]| {
        now.iter()
            .zip(before)
            .fold(0_u64, |sum, (now, before)| sum.saturating_add(now.saturating_sub(*before)))
    };
    let busy = grown(&before.busy, &now.busy);
    let total = busy.saturating_add(grown(&before.idle, &now.idle));
    if total == 0 {
        return Err(Gap::NotReady);
    }
    #[expect(clippy::cast_precision_loss, reason = "ticks of one second are few")]
    Ok(Share::nearest(busy as f64 / total as f64))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand from the field list of the kernel's `Documentation/filesystems/proc.rst`:
    /// 320 busy ticks of 400 on four cores in one second.
    #[test]
    fn load_of_a_worked_example() {
        let a = accounts(b"cpu  4705 150 1120 16250 520 0 45 0 0 0\ncpu0 1 2 3 4\n").unwrap();
        let b = accounts(b"cpu  4965 150 1180 16330 520 0 45 0 0 0\n").unwrap();
        assert_eq!(share(a, b).map(Share::part), Ok(0.8));
    }

    #[test]
    fn accounts_that_run_backwards_count_as_standing_still() {
        let a = accounts(b"cpu  100 0 100 1000 500 0 0 0 0 0\n").unwrap();
        let b = accounts(b"cpu  150 0 100 1050 400 0 0 0 0 0\n").unwrap();
        assert_eq!(share(a, b).map(Share::part), Ok(0.5));
        assert_eq!(share(a, a), Err(Gap::NotReady));
    }

    #[test]
    fn what_is_no_account_is_refused() {
        for text in ["", "cpu", "cpu  1 2 3", "cpu0 1 2 3 4 5", "cpu  a b c d", "intr 1 2 3 4"] {
            assert_eq!(accounts(text.as_bytes()), None, "{text}");
        }
    }
}
