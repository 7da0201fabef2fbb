//! What outlast itself costs, from two looks at the kernel's account a minute apart.

use reckon::{snapshot::Footprint, time::Mono};

/// Remembers the look before.
#[derive(Default)]
pub(crate) struct FootprintMeter {
    before: Option<(Mono, probe::Footprint)>,
}

impl FootprintMeter {
    /// Takes a look. Rates are known from the second one on.
    pub(crate) fn measure(&mut self, at: Mono) -> Footprint {
        let Some(now) = probe::footprint(None) else { return Footprint::default() };
        let before = self.before.replace((at, now));
        let over = before.map(|(then, before)| (at.since(then).as_secs_f64(), before));
        let over = over.filter(|(span_s, _)| *span_s >= 1.0);
        Footprint {
            cpu_share: over.map(|(span_s, before)| (now.cpu_s - before.cpu_s).max(0.0) / span_s),
            resident_kib: Some(now.resident_kib),
            wakeups_per_s: over.map(|(span_s, before)| {
                let wakeups = now.switches_own.saturating_sub(before.switches_own);
                f64::from(u32::try_from(wakeups).unwrap_or(u32::MAX)) / span_s
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_come_with_the_second_look() {
        let mut footprint = FootprintMeter::default();
        let first = footprint.measure(Mono::at_s(100.0));
        assert!(first.resident_kib.is_some() && first.cpu_share.is_none());
        // A made-up minute later: this test has not used a minute of processor time.
        let second = footprint.measure(Mono::at_s(160.0));
        assert!((0.0..1.0).contains(&second.cpu_share.unwrap()));
        assert!(second.wakeups_per_s.unwrap() >= 0.0);
    }
}
